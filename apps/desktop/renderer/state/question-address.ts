import {
  growthClockSchema,
  groupingSchema,
  lossRuleSchema,
  outcomeQuestionSchema,
  referenceChoiceSchema,
  type GrowthClockChoice,
  type Grouping,
  type OutcomeQuestionInput,
  type Threshold,
} from '@longhold/core/answers';
import { growthTableNameSchema } from '@longhold/core/growth';
import { findMeasure, type Unit } from '@longhold/core/measures';
import {
  filmFactorSchema,
  isoDateSchema,
  maturityGroupSchema,
  protocolCodeSchema,
  sexSchema,
  type MaturityGroup,
} from '@longhold/core/records';

/** The part of an outcome question that the screens let the user choose, with every choice made. */
export interface ChosenQuestion {
  readonly measure: string;
  readonly threshold: Threshold;
  readonly rule: NonNullable<OutcomeQuestionInput['rule']>;
  readonly reference: NonNullable<OutcomeQuestionInput['reference']>;
  readonly filter: {
    readonly protocol: string | null;
    readonly sex: 'female' | 'male' | null;
    readonly expansion: boolean | null;
    readonly maturity: MaturityGroup | null;
  };
  /** Name of an imported growth table; null takes the first of the measure. */
  readonly table: string | null;
  readonly growthClock: GrowthClockChoice;
  readonly groupBy: Grouping;
  /** For lengths on films that carry no factor of their own; null where it is not known. */
  readonly filmFactor: number | null;
  /** Null reads all records there are. */
  readonly asOf: string | null;
}

/** The question that is asked before anything was chosen: the one that core asks by default. */
export const FIRST_QUESTION: ChosenQuestion = (({
  measure,
  threshold,
  rule,
  reference,
  filter,
  table,
  growthClock,
  groupBy,
  filmFactor,
  asOf,
}) => ({
  measure,
  threshold,
  rule,
  reference,
  filter,
  table,
  growthClock,
  groupBy,
  filmFactor,
  asOf,
}))(outcomeQuestionSchema.parse({}));

const NAMES = [
  'measure',
  'threshold',
  'rule',
  'reference',
  'table',
  'protocol',
  'sex',
  'expansion',
  'maturity',
  'clock',
  'groups',
  'film',
  'asOf',
] as const;
type QuestionName = (typeof NAMES)[number];

/** Whether a query holds any part of a question. */
export function holdsQuestion(query: URLSearchParams): boolean {
  return NAMES.some((name) => query.has(name));
}

/** A part of an address that could not be read. */
export interface UnreadPart {
  /** As it stands in the address, `measure=Nonsense`. */
  readonly written: string;
  /** What the question takes instead, in words; null where it asks nothing for this name. */
  readonly instead: string | null;
}

/**
 * Read a question from an address. Parts that make no sense fall back to the first question, and every one is named;
 * so are names that no address of the program has, and all but the first value of a name.
 */
export function readQuestion(query = new URLSearchParams()): {
  question: ChosenQuestion;
  unread: UnreadPart[];
} {
  const unread: { readonly name: string; readonly text: string }[] = [];
  const part = <T>(name: QuestionName, fallback: T, read: (text: string) => T | undefined): T => {
    const [text, ...more] = query.getAll(name);
    if (text === undefined) return fallback;
    const value = read(text);
    if (value === undefined) unread.push({ name, text });
    unread.push(...more.map((again) => ({ name, text: again })));
    return value ?? fallback;
  };
  const first = FIRST_QUESTION;
  const measure = part('measure', first.measure, (text) => findMeasure(text)?.code);
  const question: ChosenQuestion = {
    measure,
    threshold: part('threshold', first.threshold, (text) => readThreshold(text, unitOf(measure))),
    rule: part('rule', first.rule, (text) => lossRuleSchema.safeParse(text).data),
    reference: part('reference', first.reference, (text) => referenceChoiceSchema.safeParse(text).data),
    table: part<string | null>('table', null, (text) => growthTableNameSchema.safeParse(text).data),
    filter: {
      protocol: part<string | null>('protocol', null, (text) => protocolCodeSchema.safeParse(text).data),
      sex: part<'female' | 'male' | null>('sex', null, (text) => sexSchema.safeParse(text).data),
      expansion: part<boolean | null>('expansion', null, readExpansion),
      maturity: part<MaturityGroup | null>(
        'maturity',
        null,
        (text) => maturityGroupSchema.safeParse(text).data,
      ),
    },
    growthClock: part('clock', first.growthClock, (text) => growthClockSchema.safeParse(text).data),
    groupBy: part('groups', first.groupBy, (text) => groupingSchema.safeParse(text).data),
    filmFactor: part<number | null>('film', null, readFilmFactor),
    asOf: part<string | null>('asOf', null, (text) => isoDateSchema.safeParse(text).data),
  };
  for (const [name, text] of query)
    if (!isQuestionName(name) && !LIST_NAMES.includes(name)) unread.push({ name, text });
  const values = valuesOf(question);
  return {
    question,
    unread: unread.map(({ name, text }) => ({
      written: `${name}=${text}`,
      instead: isQuestionName(name) ? (values[name] ?? NOT_ASKED_WORDS[name]) : null,
    })),
  };
}

/** What lists keep in the address beside a question. */
const LIST_NAMES: readonly string[] = ['status', 'state', 'text', 'sort', 'order', 'page'];

/** What holds where an address leaves a part of the question out. */
const NOT_ASKED_WORDS: Readonly<Record<QuestionName, string>> = {
  measure: FIRST_QUESTION.measure,
  threshold: writeThreshold(FIRST_QUESTION.threshold, unitOf(FIRST_QUESTION.measure)),
  rule: FIRST_QUESTION.rule,
  reference: 'the best there is',
  table: 'the first of the measure',
  protocol: 'all protocols',
  sex: 'both sexes',
  expansion: 'with and without',
  maturity: 'all',
  clock: 'age',
  groups: FIRST_QUESTION.groupBy,
  film: 'none',
  asOf: 'all records',
};

/** Write a question into a query, in place of the one that is there. What is not asked is left out. */
export function writeQuestion(question: ChosenQuestion, query = new URLSearchParams()): URLSearchParams {
  const values = valuesOf(question);
  const next = new URLSearchParams();
  for (const name of NAMES) {
    const value = values[name];
    if (value !== null) next.set(name, value);
  }
  for (const [name, value] of query) if (!isQuestionName(name)) next.append(name, value);
  return next;
}

/** The parts of a question as they are written; null for what is not asked. */
function valuesOf(question: ChosenQuestion): Record<QuestionName, string | null> {
  const { protocol, sex, expansion, maturity } = question.filter;
  return {
    measure: question.measure,
    threshold: writeThreshold(question.threshold, unitOf(question.measure)),
    rule: question.rule,
    reference: question.reference === 'auto' ? null : question.reference,
    table: question.table,
    protocol,
    sex,
    expansion: expansion === null ? null : expansion ? 'yes' : 'no',
    maturity,
    clock: question.growthClock === 'age' ? null : question.growthClock,
    groups: question.groupBy === FIRST_QUESTION.groupBy ? null : question.groupBy,
    film: question.filmFactor === null ? null : String(question.filmFactor),
    asOf: question.asOf,
  };
}

function unitOf(measure: string): Unit {
  return findMeasure(measure)?.unit ?? 'mm';
}

/** Two questions ask the same when they are written the same. */
export function questionKey(question: ChosenQuestion): string {
  return writeQuestion(question).toString();
}

function isQuestionName(name: string): name is QuestionName {
  return NAMES.some((known) => known === name);
}

function readThreshold(text: string, unit: Unit): Threshold | undefined {
  const found = /^(\d+(?:\.\d+)?)(%|mm|deg)$/.exec(text);
  if (found === null) return undefined;
  const amount = Number(found[1]);
  if (found[2] === '%')
    return amount > 0 && amount < 100 ? { kind: 'share', share: amount / 100 } : undefined;
  return found[2] === unit && amount > 0 && amount <= 50 ? { kind: 'floor', amount } : undefined;
}

function writeThreshold(threshold: Threshold, unit: Unit): string {
  return threshold.kind === 'share'
    ? `${Number((threshold.share * 100).toFixed(4))}%`
    : `${threshold.amount}${unit}`;
}

/** A factor as it is typed or stands in an address; a decimal comma is understood. */
export function readFilmFactor(text: string): number | undefined {
  const plain = text.trim().replace(',', '.');
  return /^\d*\.?\d+$/.test(plain) ? filmFactorSchema.safeParse(Number(plain)).data : undefined;
}

function readExpansion(text: string): boolean | undefined {
  if (text === 'yes') return true;
  return text === 'no' ? false : undefined;
}
