import type { MeasureDefinition } from '../measures';
import { countText, measureText, patientsText, percentText } from './number-text';
import type { PlanningAnswer } from './planning-answer';

/** How many patients and years would do, and what the present patients would tell, in two to four sentences. */
export function planningSentence(plan: PlanningAnswer, measure: MeasureDefinition): string {
  const { present, target } = plan;
  const amount = (value: number): string => `±${measureText(value, measure.unit, 2)}`;
  const now = `The present ${patientsText(present.patients)} tell the lasting gain to ${amount(present.lasting)}.`;
  if (present.lasting <= target) return `${now} That is as well as was asked for: they suffice.`;
  return [now, continuedText(plan, amount), newStudyText(plan, amount)]
    .filter((part) => part !== '')
    .join(' ');
}

/** What following the present patients on would reach. */
function continuedText(
  { continued, target, dropOut, missed }: PlanningAnswer,
  amount: (value: number) => string,
): string {
  const { callable, years } = continued;
  const last = years[years.length - 1];
  if (callable === 0 || last === undefined) return 'None of them can be followed further.';
  const chances = `if ${percentText(1 - missed)} of the ${countText(callable)} who may be called back come each year and ${percentText(dropOut)} a year stay away for good`;
  const reached = years.find(({ lasting }) => lasting <= target);
  return reached === undefined
    ? `With the patients you have, ${amount(last.lasting)} is expected ${yearsText(last.years)} from now, ${chances}: they alone do not reach ${amount(target)} by then.`
    : `With the patients you have, ${amount(reached.lasting)} is expected ${yearsText(reached.years)} from now, ${chances}: they suffice.`;
}

function newStudyText({ rows, target, floor }: PlanningAnswer, amount: (value: number) => string): string {
  const enough = rows.flatMap(({ years, patients }) => (patients === null ? [] : [{ years, patients }]));
  const [shortest] = enough;
  const longest = enough[enough.length - 1];
  if (shortest === undefined || longest === undefined) {
    return floor === 0
      ? `For new patients, ${amount(target)} would take more of them than any study has.`
      : `No number of treated patients would tell it to ${amount(target)}: the growth curve alone leaves ${amount(floor)}. More untreated children would.`;
  }
  const first = `Of new patients, ${countText(longest.patients)} followed for ${yearsText(longest.years)} would be expected to tell it to ${amount(target)}`;
  return shortest.years === longest.years
    ? `${first}.`
    : `${first}, or ${countText(shortest.patients)} followed for ${yearsText(shortest.years)}.`;
}

function yearsText(years: number): string {
  return years === 1 ? '1 year' : `${years} years`;
}
