import type { RandomStream } from '@longhold/core/numeric';
import {
  addDays,
  DAYS_PER_YEAR,
  yearsBetween,
  type IsoDate,
  type PatientHistory,
  type Sex,
  type Visit,
} from '@longhold/core/records';
import { drawChild } from './child';
import { drawUniform, happens } from './draws';
import { DEMO_TODAY, UNTREATED, UNTREATED_FILMS } from './parameters';
import { drawFilms, type DemoStreams } from './readings';
import { trueValues } from './true-values';

/** Draws one child of the untreated comparison series, followed yearly from about 8 years on. */
export function drawUntreatedChild(streams: DemoStreams, code: string): PatientHistory {
  const { random } = streams;
  const sex: Sex = happens(random, UNTREATED.femaleShare) ? 'female' : 'male';
  const entryAge = drawUniform(random, UNTREATED.entryAge.youngest, UNTREATED.entryAge.oldest);
  const leavingAge = drawUniform(random, UNTREATED.leavingAge.youngest, UNTREATED.leavingAge.oldest);
  const left = addDays(
    DEMO_TODAY,
    -Math.floor(UNTREATED.completedWithinYears * DAYS_PER_YEAR * random.uniform()),
  );
  const birthDate = addDays(left, -Math.round(leavingAge * DAYS_PER_YEAR));
  const child = drawChild(random, sex, 'untreated');
  const consentPooling = !happens(random, UNTREATED.noConsentPooling);

  const visits = drawVisitDates(random, addDays(birthDate, Math.round(entryAge * DAYS_PER_YEAR)), left).map(
    (date, index): Visit => ({
      kind: index === 0 ? 'start' : 'follow_up',
      date,
      ageYears: null,
      ...drawFilms(streams, trueValues(child, null, yearsBetween(birthDate, date)), UNTREATED_FILMS),
    }),
  );
  return {
    patient: {
      code,
      sex,
      birthDate,
      group: 'untreated',
      protocol: null,
      expansion: null,
      maturityStart: null,
      treatmentStart: null,
      activeEnd: null,
      consentFollowUp: true,
      consentPooling,
    },
    visits,
    events: [],
  };
}

function drawVisitDates(random: RandomStream, entry: IsoDate, left: IsoDate): IsoDate[] {
  const dates = [entry];
  for (let year = 1; ; year++) {
    const anniversary = addDays(entry, Math.round(year * DAYS_PER_YEAR));
    if (anniversary > left) return dates;
    const missed = happens(random, UNTREATED.missed);
    const date = addDays(anniversary, Math.round(UNTREATED.jitterDays * random.normal()));
    if (!missed && date <= left) dates.push(date);
  }
}
