import type { MeasureDefinition } from '../measures';
import { countText, measureText, patientsText } from './number-text';
import type { PlanningAnswer } from './planning';

/** How many patients and years would do, in one to three sentences. */
export function planningSentence(
  { rows, target, floor, present }: PlanningAnswer,
  { unit }: MeasureDefinition,
): string {
  const amount = (value: number): string => `±${measureText(value, unit, 2)}`;
  const now = `The present ${patientsText(present.patients)} tell the lasting gain to ${amount(present.lasting)}.`;
  const enough = rows.flatMap(({ years, patients }) => (patients === null ? [] : [{ years, patients }]));
  const [shortest] = enough;
  const longest = enough[enough.length - 1];
  if (shortest === undefined || longest === undefined) {
    if (floor === 0)
      return `${now} To know it to ${amount(target)} would take more patients than any study has.`;
    return `${now} No number of treated patients would tell it to ${amount(target)}: the growth curve alone leaves ${amount(floor)}. More untreated children would.`;
  }
  const first = `To know it to ${amount(target)}, ${countText(longest.patients)} patients followed for ${longest.years} years would be expected to do`;
  return shortest.years === longest.years
    ? `${now} ${first}.`
    : `${now} ${first}, or ${countText(shortest.patients)} followed for ${shortest.years} ${shortest.years === 1 ? 'year' : 'years'}.`;
}
