import {
  patientHistorySchema,
  type MaturityStage,
  type PatientHistory,
  type Sex,
} from '@longhold/core/records';

/** One measured value of an invented patient, by age or by years since an invented day. */
export interface InventedVisit {
  /** Years: age where the patient has no birth date, else years since the first day of the invented calendar. */
  readonly at: number;
  readonly value: number;
}

/** A treated patient: the first visit is the start, the second the end of active treatment, others follow up. */
export interface InventedPatient {
  readonly code: string;
  readonly sex: Sex;
  readonly measure: string;
  readonly unit: 'mm' | 'deg';
  readonly visits: readonly InventedVisit[];
  /** Whether visits carry dates; else ages. */
  readonly dated: boolean;
  readonly protocol?: string;
  readonly expansion?: boolean;
  readonly maturityStart?: MaturityStage;
}

const KINDS = ['start', 'end_of_active'] as const;
const FIRST_DAY = Date.UTC(2005, 0, 1);
const DAY = 86_400_000;

/** The day that lies this many years after the first one of the invented calendar. */
export function dayAt(years: number): string {
  return new Date(FIRST_DAY + Math.round(years * 365.25) * DAY).toISOString().slice(0, 10);
}

/** The records of an invented treated patient at natural size. */
export function inventedHistory(patient: InventedPatient): PatientHistory {
  const { code, sex, measure, unit, visits, dated } = patient;
  const day = (place: number): string | null => {
    const visit = visits[place];
    return dated && visit !== undefined ? dayAt(visit.at) : null;
  };
  return patientHistorySchema.parse({
    patient: {
      code,
      sex,
      birthDate: dated ? dayAt((visits[0]?.at ?? 0) - 12) : null,
      group: 'treated',
      protocol: patient.protocol ?? null,
      expansion: patient.expansion ?? null,
      maturityStart: patient.maturityStart ?? null,
      treatmentStart: day(0),
      activeEnd: day(1),
      consentFollowUp: true,
      consentPooling: false,
    },
    visits: visits.map(({ at, value }, i) => ({
      kind: KINDS[i] ?? 'follow_up',
      date: day(i),
      ageYears: dated ? null : at,
      filmFactor: 1,
      measurements: [{ measure, value, unit, replicate: 1, examiner: '' }],
    })),
    events: [],
  });
}
