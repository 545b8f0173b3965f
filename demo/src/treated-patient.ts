import type { RandomStream } from '@longhold/core/numeric';
import {
  addDays,
  DAYS_PER_YEAR,
  yearsBetween,
  type IsoDate,
  type MaturityStage,
  type Patient,
  type PatientHistory,
  type Visit,
} from '@longhold/core/records';
import { drawChild, drawEffect } from './child';
import { drawKey, happens } from './draws';
import { drawFollowUp } from './follow-up';
import {
  CLINICS,
  DEMO_TODAY,
  GROWTH_CURVE,
  PROTOCOL_CODES,
  PROTOCOLS,
  TREATED,
  type ProtocolCode,
} from './parameters';
import { drawFilms, type DemoStreams } from './readings';
import { drawTiming, type TreatmentTiming } from './treatment-timing';
import { trueValues, type Treatment } from './true-values';
import { treatedTruth, type TreatedTruth } from './treated-truth';

/** A drawn patient: what the files say, and what is true. */
export interface DrawnPatient {
  readonly history: PatientHistory;
  readonly truth: TreatedTruth;
}

/** Draws one treated patient. `nextCode` gives out codes: the clinic's letter and a running number. */
export function drawTreatedPatient(streams: DemoStreams, nextCode: (letter: string) => string): DrawnPatient {
  const { random } = streams;
  const clinic = drawClinic(random);
  const protocol = drawKey(
    random,
    PROTOCOL_CODES.map((code) => [code, clinic.protocols[code]] as const),
  );
  const timing = drawTiming(random);
  const dates = drawDates(random, timing);
  const child = drawChild(random, timing.sex, 'treated');
  const effect = drawEffect(random, protocol);
  const patient = drawPatient(random, nextCode(clinic.letter), timing, protocol, dates);

  const ageOn = (date: IsoDate): number => yearsBetween(dates.birth, date);
  const ages = { start: ageOn(dates.start), end: ageOn(dates.end), secondCourse: null };
  const recorded = dates.ended && patient.consentFollowUp;
  const followUp = recorded
    ? drawFollowUp(random, dates.end)
    : { visits: [], events: [], secondCourse: null };
  const treatment: Treatment = {
    effect,
    ages: { ...ages, secondCourse: followUp.secondCourse === null ? null : ageOn(followUp.secondCourse) },
  };
  const record = (kind: Visit['kind'], date: IsoDate, withRadiograph: boolean): Visit => ({
    kind,
    date,
    ageYears: null,
    ...drawFilms(streams, trueValues(child, treatment, ageOn(date)), withRadiograph ? clinic.films : null),
  });

  const visits = [record('start', dates.startRecords, true)];
  if (dates.ended) visits.push(record('end_of_active', dates.endRecords, true));
  for (const { date, withRadiograph } of followUp.visits)
    visits.push(record('follow_up', date, withRadiograph));
  return {
    history: { patient, visits, events: followUp.events },
    truth: treatedTruth({
      code: patient.code,
      clinic: clinic.letter,
      protocol,
      child,
      treatment,
      ageAtStartRecords: ageOn(dates.startRecords),
      ageAtEndRecords: dates.ended ? ageOn(dates.endRecords) : null,
    }),
  };
}

function drawClinic(random: RandomStream): (typeof CLINICS)[number] {
  const letter = drawKey(
    random,
    CLINICS.map((clinic) => [clinic.letter, clinic.share] as const),
  );
  return CLINICS.find((clinic) => clinic.letter === letter) ?? CLINICS[0];
}

interface TreatmentDates {
  readonly birth: IsoDate;
  readonly startRecords: IsoDate;
  readonly start: IsoDate;
  /** Where treatment has not `ended`, the day on which it is expected to. */
  readonly end: IsoDate;
  readonly ended: boolean;
  readonly endRecords: IsoDate;
}

function drawDates(random: RandomStream, timing: TreatmentTiming): TreatmentDates {
  const ended = !happens(random, TREATED.stillInTreatment);
  const agoDays = Math.floor(TREATED.endedWithinYears * DAYS_PER_YEAR * random.uniform());
  const start = ended
    ? addDays(DEMO_TODAY, -TREATED.endRecordsDays - agoDays - timing.activeDays)
    : addDays(DEMO_TODAY, -Math.floor(timing.activeDays * random.uniform()));
  const end = addDays(start, timing.activeDays);
  return {
    birth: addDays(start, -Math.round(timing.ageAtStart * DAYS_PER_YEAR)),
    startRecords: addDays(start, -random.integer(TREATED.startRecordsDays + 1)),
    start,
    end,
    ended,
    endRecords: addDays(end, random.integer(TREATED.endRecordsDays + 1)),
  };
}

function drawPatient(
  random: RandomStream,
  code: string,
  timing: TreatmentTiming,
  protocol: ProtocolCode,
  dates: TreatmentDates,
): Patient {
  return {
    code,
    sex: timing.sex,
    birthDate: dates.birth,
    group: 'treated',
    protocol,
    expansion: happens(random, TREATED.expansionMissing)
      ? null
      : happens(random, PROTOCOLS[protocol].expansion),
    maturityStart: drawMaturity(random, timing),
    treatmentStart: dates.start,
    activeEnd: dates.ended ? dates.end : null,
    consentFollowUp: !happens(random, TREATED.noConsentFollowUp),
    consentPooling: !happens(random, TREATED.noConsentPooling),
  };
}

/** First years after the peak of growth at which each stage begins to be read, as `docs/demo.md` lists them. */
const STAGE_BEGINS = [
  ['CS6', 2.5],
  ['CS5', 1.5],
  ['CS4', 0.5],
  ['CS3', -0.75],
  ['CS2', -1.5],
] as const satisfies readonly (readonly [MaturityStage, number])[];

function drawMaturity(random: RandomStream, timing: TreatmentTiming): MaturityStage | null {
  if (happens(random, TREATED.maturityMissing)) return null;
  const sincePeak = timing.ageAtStart - GROWTH_CURVE[timing.sex].peakAge;
  const read = sincePeak + TREATED.maturityReadingSd * random.normal();
  return STAGE_BEGINS.find(([, begins]) => read >= begins)?.[0] ?? 'CS1';
}
