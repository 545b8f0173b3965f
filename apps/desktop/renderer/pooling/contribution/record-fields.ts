import { MATURITY_WORDS } from '@longhold/core/answers';
import type { PooledRecord, PooledValue, PooledVisit } from '@longhold/core/contribution';
import { findMeasure } from '@longhold/core/measures';
import { maturityGroupSchema } from '@longhold/core/records';
import {
  EVENT_WORDS,
  expansionWord,
  formatCount,
  formatNoun,
  formatNumber,
  formatQuantity,
  SEX_WORDS,
  VISIT_WORDS,
} from '@longhold/ui';

/** One thing that a record says, in words. */
export interface RecordField {
  /** What it is; no two fields of a record have the same name. */
  readonly name: string;
  readonly value: string;
}

const MAGNIFICATION_WORDS: Readonly<Record<PooledValue['magnification'], string>> = {
  natural: 'measured at natural size',
  'by-factor': 'natural size by the factor of the film',
  'not-enlarged': 'not enlarged by films',
};

/* A field that is added to the records needs its words here, or this does not compile: nothing leaves unseen. */
const FIELDS: { readonly [Key in keyof PooledRecord]: (value: PooledRecord[Key]) => RecordField[] } = {
  pseudonym: (pseudonym) => [{ name: 'Pseudonym', value: pseudonym }],
  group: (group) => [{ name: 'Group', value: group === 'treated' ? 'Treated' : 'Untreated' }],
  sex: (sex) => [{ name: 'Sex', value: SEX_WORDS[sex] }],
  ageMonths: (months) => [{ name: 'Age at day 0', value: formatNoun(months, 'month') }],
  protocol: (protocol) => [{ name: 'Protocol', value: protocol ?? 'Not given' }],
  expansion: (expansion) => [
    { name: 'Upper jaw widened', value: expansion === null ? 'Not given' : expansionWord(expansion) },
  ],
  maturityStart: (maturity) => [{ name: 'Maturity at the start', value: maturityWord(maturity) }],
  yearsPassed: (years) => [{ name: 'Years of follow-up that have passed', value: formatCount(years) }],
  visits: (visits) => visits.flatMap(visitFields),
  events: (events) =>
    events.map(({ event, day }) => ({
      name: `Event on day ${formatNumber(day, 0)}`,
      value: EVENT_WORDS[event],
    })),
};

/** Everything that a record holds, in the order in which it is read. Nothing of it is left out. */
export function recordFields(record: PooledRecord): RecordField[] {
  return numbered([
    ...FIELDS.pseudonym(record.pseudonym),
    ...FIELDS.group(record.group),
    ...FIELDS.sex(record.sex),
    ...FIELDS.ageMonths(record.ageMonths),
    ...FIELDS.protocol(record.protocol),
    ...FIELDS.expansion(record.expansion),
    ...FIELDS.maturityStart(record.maturityStart),
    ...FIELDS.yearsPassed(record.yearsPassed),
    ...FIELDS.visits(record.visits),
    ...FIELDS.events(record.events),
  ]);
}

/** One thing that two versions of a record say; null where a version does not have it. */
export interface ComparedField {
  readonly name: string;
  readonly first: string | null;
  readonly second: string | null;
  readonly differs: boolean;
}

/** Two versions of a record side by side, matched by what each field is. */
export function compareRecords(first: PooledRecord, second: PooledRecord): ComparedField[] {
  const ours = new Map(recordFields(first).map(({ name, value }) => [name, value]));
  const theirs = new Map(recordFields(second).map(({ name, value }) => [name, value]));
  const names = [...ours.keys(), ...[...theirs.keys()].filter((name) => !ours.has(name))];
  return names.map((name) => {
    const one = ours.get(name) ?? null;
    const other = theirs.get(name) ?? null;
    return { name, first: one, second: other, differs: one !== other };
  });
}

function visitFields({ kind, day, values }: PooledVisit): RecordField[] {
  const place = `Day ${formatNumber(day, 0)}`;
  return [
    { name: place, value: VISIT_WORDS[kind] },
    ...values.map((value) => ({ name: `${place}, ${value.measure}`, value: valueWords(value) })),
  ];
}

function valueWords({ measure, value, films, readings, magnification }: PooledValue): string {
  const unit = findMeasure(measure)?.unit ?? 'mm';
  const counted = `${formatNoun(films, 'film')}, ${formatNoun(readings, 'reading')}`;
  return `${formatQuantity(value, unit, 2)} (${counted}, ${MAGNIFICATION_WORDS[magnification]})`;
}

/** Maturity as it leaves: a stage, or a group of stages. */
export function maturityWord(maturity: PooledRecord['maturityStart']): string {
  if (maturity === null) return 'Not given';
  const group = maturityGroupSchema.safeParse(maturity);
  return group.success ? MATURITY_WORDS[group.data] : maturity;
}

/** The same names told apart by their place: two visits on one day. */
function numbered(fields: readonly RecordField[]): RecordField[] {
  const seen = new Map<string, number>();
  return fields.map(({ name, value }) => {
    const times = (seen.get(name) ?? 0) + 1;
    seen.set(name, times);
    return { name: times === 1 ? name : `${name} (${times})`, value };
  });
}
