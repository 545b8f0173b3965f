import { z } from 'zod';
import {
  growthTableNameSchema,
  growthTableSourceSchema,
  ownRateSdSchema,
  tableCountSchema,
  tableSdSchema,
} from '../growth/imported-table';
import { findMeasure, MEASURES } from '../measures/catalogue';
import type { MeasureDefinition } from '../measures/definition';
import { isoDateSchema } from '../records/calendar';
import { patientCodeSchema, protocolCodeSchema } from '../records/patient';
import {
  ageYearsSchema,
  examinerSchema,
  filmFactorSchema,
  filmNumberSchema,
  replicateSchema,
} from '../records/visit';
import {
  eventKindSchema,
  filmFactorEvidenceSchema,
  groupSchema,
  maturityStageSchema,
  sexSchema,
  visitKindSchema,
} from '../records/vocabulary';
import {
  misread,
  optional,
  orEmpty,
  suggestion,
  textColumn,
  wordColumn,
  type CellReading,
  type Column,
} from './column';
import type { ImportFile } from './faults';
import { readNumber, readWholeNumber } from './number-text';

/** The words for a yes-or-no answer in import files. */
const yesNoSchema = z.enum(['yes', 'no']);

function yesNoColumn(name: string, meaning: string): Column<boolean> {
  const words = wordColumn(name, yesNoSchema, meaning);
  return {
    ...words,
    whenEmpty: null,
    read: (text) => {
      const word = words.read(text);
      return word.ok ? { ok: true, value: word.value === 'yes' } : word;
    },
  };
}

function within(number: CellReading<number>, schema: z.ZodNumber): CellReading<number> {
  if (!number.ok || schema.safeParse(number.value).success) return number;
  return misread('out-of-range', 'this lies outside what is possible');
}

function boundedNumberColumn(
  name: string,
  schema: z.ZodNumber,
  read: (text: string) => CellReading<number>,
  what: string,
  meaning: string,
): Column<number> {
  return {
    name,
    presence: 'required',
    whenEmpty: null,
    words: [],
    allowed: `${what} from ${schema.minValue} to ${schema.maxValue}`,
    meaning,
    read: (text) => within(read(text), schema),
  };
}

const MEASURE_CODES: readonly string[] = MEASURES.map((measure) => measure.code);

const measureColumn: Column<MeasureDefinition> = {
  name: 'measure',
  presence: 'required',
  whenEmpty: null,
  words: MEASURE_CODES,
  allowed: `a code of the catalogue: ${MEASURE_CODES.join(', ')}`,
  meaning: 'What was measured. The unit follows from it.',
  read: (text) => {
    const measure = findMeasure(text);
    if (measure !== undefined) return { ok: true, value: measure };
    return {
      ok: false,
      kind: 'unknown-measure',
      explain: () => ({ message: `the catalogue has no such measure${suggestion(text, MEASURE_CODES)}` }),
    };
  },
};

const valueColumn: Column<number> = {
  name: 'value',
  presence: 'required',
  whenEmpty: null,
  words: [],
  allowed: 'a number with a decimal point, within the plausible range of the measure',
  meaning: 'The reading as measured, in the unit of the measure: millimetres or degrees.',
  read: readNumber,
};

/** The columns of patients.csv: one row is one patient, whole. */
export const PATIENT_COLUMNS = {
  code: textColumn('code', patientCodeSchema, 'Pseudonymous code of the patient, unique in the file.'),
  sex: wordColumn('sex', sexSchema, 'Sex of the patient.'),
  birthDate: orEmpty(
    textColumn('birth_date', isoDateSchema, 'Date of birth. Empty for series that have ages only.'),
    null,
  ),
  group: wordColumn('group', groupSchema, 'Treated, or followed untreated for comparison.'),
  protocol: orEmpty(
    textColumn(
      'protocol',
      protocolCodeSchema,
      "Treatment protocol, from the clinic's own list. Treated only.",
    ),
    null,
  ),
  expansion: orEmpty(
    yesNoColumn('expansion', 'Whether the upper jaw was widened. Treated only; empty when not recorded.'),
    null,
  ),
  maturityStart: orEmpty(
    wordColumn('maturity_start', maturityStageSchema, 'Stage of cervical vertebral maturation at the start.'),
    null,
  ),
  treatmentStart: orEmpty(
    textColumn('treatment_start', isoDateSchema, 'First day of active treatment. Treated only.'),
    null,
  ),
  activeEnd: orEmpty(
    textColumn(
      'active_end',
      isoDateSchema,
      'Last day of active treatment; empty while it goes on. Treated only.',
    ),
    null,
  ),
  consentFollowUp: yesNoColumn(
    'consent_follow_up',
    'May the clinic recall this patient and use the follow-up?',
  ),
  consentPooling: yesNoColumn(
    'consent_pooling',
    'May the pseudonymised follow-up be pooled with other clinics?',
  ),
} as const;

/** The columns of measurements.csv: one row is one reading. */
export const MEASUREMENT_COLUMNS = {
  patientCode: textColumn('patient_code', patientCodeSchema, 'The patient, as in patients.csv.'),
  visitKind: wordColumn('visit_kind', visitKindSchema, 'Which visit the records belong to.'),
  visitDate: {
    ...orEmpty(textColumn('visit_date', isoDateSchema, 'Day of the visit.'), null),
    presence: 'either',
  },
  ageYears: {
    ...orEmpty(
      boundedNumberColumn(
        'age_years',
        ageYearsSchema,
        readNumber,
        'a number with a decimal point,',
        'Age at the visit in years, where there is no date.',
      ),
      null,
    ),
    presence: 'either',
  },
  measure: measureColumn,
  value: valueColumn,
  replicate: boundedNumberColumn(
    'replicate',
    replicateSchema,
    readWholeNumber,
    'a whole number',
    'Which repeated reading of the same record by the same examiner this is.',
  ),
  examiner: orEmpty(textColumn('examiner', examinerSchema, 'Who measured, as a short code.'), ''),
  film: optional(
    boundedNumberColumn(
      'film',
      filmNumberSchema,
      readWholeNumber,
      'a whole number',
      'Which radiograph of the visit was read; empty is the first, and the only one at most visits.',
    ),
    1,
  ),
  filmFactor: optional(
    boundedNumberColumn(
      'film_factor',
      filmFactorSchema,
      readNumber,
      'a number with a decimal point,',
      'What lengths on the films of the visit are multiplied by to give natural size; empty when not known.',
    ),
    null,
  ),
  filmFactorEvidence: optional(
    wordColumn(
      'film_factor_evidence',
      filmFactorEvidenceSchema,
      'How the factor is known; empty when that was not recorded.',
    ),
    null,
  ),
} as const;

/** The columns of events.csv: one row is one event. */
export const EVENT_COLUMNS = {
  patientCode: textColumn('patient_code', patientCodeSchema, 'The patient, as in patients.csv.'),
  date: textColumn('date', isoDateSchema, 'Day of the event.'),
  event: wordColumn('event', eventKindSchema, 'What happened.'),
} as const;

/** The columns of growth-table.csv: one row is one mean of one table. */
export const GROWTH_TABLE_COLUMNS = {
  table: textColumn(
    'table',
    growthTableNameSchema,
    'Name of the table. A table is known by its name and measure.',
  ),
  measure: measureColumn,
  sex: wordColumn('sex', sexSchema, 'Sex of the children behind the mean.'),
  ageYears: {
    ...orEmpty(
      boundedNumberColumn(
        'age_years',
        ageYearsSchema,
        readNumber,
        'a number with a decimal point,',
        'Age of the children in years. Empty in a table by stage.',
      ),
      null,
    ),
    presence: 'either',
  },
  stage: {
    ...orEmpty(
      wordColumn(
        'maturity_stage',
        maturityStageSchema,
        'Stage of cervical vertebral maturation. Empty in a table by age.',
      ),
      null,
    ),
    presence: 'either',
  },
  mean: {
    ...valueColumn,
    name: 'mean',
    meaning: 'Mean of the children as printed, in the unit of the measure: millimetres or degrees.',
  },
  sd: optional(
    boundedNumberColumn(
      'sd',
      tableSdSchema,
      readNumber,
      'a number with a decimal point,',
      'Standard deviation of the children as printed; empty when not given.',
    ),
    null,
  ),
  n: optional(
    boundedNumberColumn(
      'n',
      tableCountSchema,
      readWholeNumber,
      'a whole number',
      'How many children stand behind the mean; empty when not given.',
    ),
    null,
  ),
  filmFactor: orEmpty(
    boundedNumberColumn(
      'film_factor',
      filmFactorSchema,
      readNumber,
      'a number with a decimal point,',
      'What printed lengths are multiplied by to give natural size; 1 where they are. Empty for angles only.',
    ),
    null,
  ),
  ownRateSd: optional(
    boundedNumberColumn(
      'own_rate_sd',
      ownRateSdSchema,
      readNumber,
      'a number with a decimal point,',
      "SD of single children's yearly growth about the table's, at natural size; empty when not known.",
    ),
    null,
  ),
  source: textColumn('source', growthTableSourceSchema, 'Where the table comes from.'),
} as const;

/** Every column of every import file, in the order in which they are written and documented. */
export const IMPORT_COLUMNS: Readonly<Record<ImportFile, readonly Column<unknown>[]>> = {
  'patients.csv': Object.values(PATIENT_COLUMNS),
  'measurements.csv': Object.values(MEASUREMENT_COLUMNS),
  'events.csv': Object.values(EVENT_COLUMNS),
  'growth-table.csv': Object.values(GROWTH_TABLE_COLUMNS),
};
