import type { MeasureDefinition } from '../measures';
import { countText, measureText, patientsText, percentText, yearsText } from './number-text';
import type { PlanningAnswer } from './planning-answer';

/** How many patients and years would do, and what the present patients would tell, in two to six sentences. */
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
function continuedText(plan: PlanningAnswer, amount: (value: number) => string): string {
  const { continued, target } = plan;
  const { callable, years } = continued;
  const last = years[years.length - 1];
  if (callable === 0 || last === undefined) return 'None of them can be followed further.';
  const counted = countedText(plan);
  const reached = years.find(({ lasting }) => lasting <= target);
  return reached === undefined
    ? `With the patients you have, ${amount(last.lasting)} is expected ${yearsText(last.years)} from now: they alone do not reach ${amount(target)} by then. ${counted}`
    : `With the patients you have, ${amount(reached.lasting)} is expected ${yearsText(reached.years)} from now: they suffice. ${counted}`;
}

/** Who is counted on for that, and by what chance. */
function countedText(plan: PlanningAnswer): string {
  const { dropOut, missed } = plan;
  const { callable, absent, absentReturn } = plan.continued;
  const who = callable - absent === 1 ? 'such patients' : 'them';
  const chances = `${percentText(1 - missed)} of ${who} come each year and ${percentText(dropOut)} a year stay away for good`;
  if (absent === 0) {
    return `Counted on ${callable === 1 ? 'is' : 'are'} the ${numberOrOne(callable)} who may be called back, if ${chances}; whoever declined, moved away, withdrew or was treated again is not.`;
  }
  const [are, count] = absent === 1 ? ['is', 'counts'] : ['are', 'count'];
  return absentReturn === null
    ? `${awayText(plan, chances)} and ${are} not counted on, since the records hold too few absences so long to tell how many come back. Whoever declined, moved away, withdrew or was treated again is not counted on either.`
    : `${awayText(plan, chances)} and ${count} by how often absences so long ended within a year in these records: ${percentText(absentReturn)} on average. Whoever declined, moved away, withdrew or was treated again is not counted on.`;
}

/** Who has been away for long, and who has not. */
function awayText({ continued }: PlanningAnswer, chances: string): string {
  const { callable, absent } = continued;
  const have = absent === 1 ? 'has' : 'have';
  if (callable === absent) {
    const who = absent === 1 ? 'The only patient' : `All ${countText(absent)}`;
    return `${who} who may be called back ${have} not been seen for more than a year and a half`;
  }
  const seen = callable - absent;
  return `Of the ${countText(callable)} who may be called back, the ${numberOrOne(seen)} seen within a year and a half ${seen === 1 ? 'is' : 'are'} counted on, if ${chances}; the other ${numberOrOne(absent)} ${have} been away for longer`;
}

function numberOrOne(count: number): string {
  return count === 1 ? 'one' : countText(count);
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
