import {
  growthClockSchema,
  groupingSchema,
  lossRuleSchema,
  outcomeQuestionSchema,
  referenceChoiceSchema,
  type OutcomeQuestion,
  type Threshold,
} from '@longhold/core/answers';
import { growthTableNameSchema } from '@longhold/core/growth';
import { findMeasure, MEASURES, type MeasureDefinition } from '@longhold/core/measures';
import {
  filmFactorSchema,
  isoDateSchema,
  maturityGroupSchema,
  protocolCodeSchema,
  sexSchema,
} from '@longhold/core/records';
import { oneOf } from './command';
import { wrongUse } from './command-fault';

/** The options of a command that asks an outcome question. */
export const QUESTION_OPTIONS = {
  measure: { type: 'string' },
  threshold: { type: 'string' },
  rule: { type: 'string' },
  reference: { type: 'string' },
  table: { type: 'string' },
  protocol: { type: 'string' },
  sex: { type: 'string' },
  expansion: { type: 'string' },
  maturity: { type: 'string' },
  'growth-clock': { type: 'string' },
  'group-by': { type: 'string' },
  'film-factor': { type: 'string' },
  'as-of': { type: 'string' },
  level: { type: 'string' },
} as const;

type QuestionValues = Readonly<{ [Option in keyof typeof QUESTION_OPTIONS]?: string | undefined }>;

/** The question that options ask; what is left out takes the default of the answers themselves. */
export function questionOf(values: QuestionValues): OutcomeQuestion {
  const defaults = outcomeQuestionSchema.parse({});
  const given = <T>(value: string | undefined, otherwise: T, read: (text: string) => T): T =>
    value === undefined ? otherwise : read(value);
  const measure = given(values.measure, measureOf(defaults.measure), measureOf);
  refuseWithoutEffect(values, measure);
  return {
    ...defaults,
    measure: measure.code,
    threshold: given(values.threshold, defaults.threshold, (text) => thresholdOf(text, measure)),
    rule: given(values.rule, defaults.rule, (text) => oneOf(text, '--rule', lossRuleSchema.options)),
    reference: given(values.reference, defaults.reference, (text) =>
      oneOf(text, '--reference', referenceChoiceSchema.options),
    ),
    table: given<string | null>(values.table, null, tableOf),
    filter: {
      protocol: given<string | null>(values.protocol, null, protocolOf),
      sex: given<OutcomeQuestion['filter']['sex']>(values.sex, null, (text) =>
        oneOf(text, '--sex', sexSchema.options),
      ),
      expansion: given<boolean | null>(
        values.expansion,
        null,
        (text) => oneOf(text, '--expansion', ['yes', 'no']) === 'yes',
      ),
      maturity: given<OutcomeQuestion['filter']['maturity']>(values.maturity, null, (text) =>
        oneOf(text, '--maturity', maturityGroupSchema.options),
      ),
    },
    growthClock: given(values['growth-clock'], defaults.growthClock, (text) =>
      oneOf(text, '--growth-clock', growthClockSchema.options),
    ),
    groupBy: given(values['group-by'], defaults.groupBy, (text) =>
      oneOf(text, '--group-by', groupingSchema.options),
    ),
    filmFactor: given<number | null>(values['film-factor'], defaults.filmFactor, filmFactorOf),
    asOf: given<string | null>(values['as-of'], null, dateOf),
    level: given(values.level, defaults.level, levelOf),
  };
}

/** An option that would change nothing is refused: who gives it expects that it does. */
function refuseWithoutEffect(values: QuestionValues, { code, grows, enlarged }: MeasureDefinition): void {
  if (values.table !== undefined && values.reference !== 'imported-table')
    throw wrongUse('--table has no effect without --reference imported-table.');
  if (!grows) {
    const option = (['reference', 'growth-clock'] as const).find((name) => values[name] !== undefined);
    if (option !== undefined)
      throw wrongUse(`--${option} has no effect: ${code} does not grow without treatment.`);
  }
  if (!enlarged && values['film-factor'] !== undefined)
    throw wrongUse(`--film-factor has no effect: ${code} is no length on films.`);
}

function measureOf(text: string): MeasureDefinition {
  const found = findMeasure(text);
  if (found !== undefined) return found;
  const codes = MEASURES.map(({ code }) => code).join(', ');
  throw wrongUse(`--measure takes a code of the catalogue, not "${text}": ${codes}.`);
}

function thresholdOf(text: string, { code, unit }: MeasureDefinition): Threshold {
  const [, number, suffix] = /^(\d+(?:\.\d+)?|\.\d+)\s*(%|mm|deg)?$/.exec(text) ?? [];
  const value = Number(number);
  const share = suffix === '%' ? value / 100 : value;
  if ((suffix === '%' || suffix === undefined) && share > 0 && share < 1) return { kind: 'share', share };
  if (suffix === unit && value > 0 && value <= 50) return { kind: 'floor', amount: value };
  throw wrongUse(
    `--threshold takes a share of the gain (0.75 or 75%) or, for ${code}, an amount up to 50 (2${unit}), not "${text}".`,
  );
}

function protocolOf(text: string): string {
  if (protocolCodeSchema.safeParse(text).success) return text;
  throw wrongUse(`--protocol takes a code of the clinic's own list, not "${text}".`);
}

function filmFactorOf(text: string): number {
  const factor = filmFactorSchema.safeParse(text === '' ? NaN : Number(text));
  if (factor.success) return factor.data;
  const { minValue, maxValue } = filmFactorSchema;
  throw wrongUse(
    `--film-factor takes what measured lengths are multiplied by for natural size, a number from ${minValue} to ${maxValue}, not "${text}".`,
  );
}

function tableOf(text: string): string {
  if (growthTableNameSchema.safeParse(text).success) return text;
  throw wrongUse(`--table takes the name of an imported growth table, not "${text}".`);
}

function dateOf(text: string): string {
  if (isoDateSchema.safeParse(text).success) return text;
  throw wrongUse(`--as-of takes a day as YYYY-MM-DD, not "${text}".`);
}

function levelOf(text: string): number {
  const level = text.endsWith('%') ? Number(text.slice(0, -1)) / 100 : Number(text);
  if (level > 0.5 && level < 1) return level;
  throw wrongUse(`--level takes a confidence level between 0.5 and 1 (0.95 or 95%), not "${text}".`);
}
