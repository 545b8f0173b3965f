import { growthReference, tableNames, type GrowthReference } from '../growth';
import { isRefusal } from '../numeric';
import { estimateContrast, groupShare, type Yardstick } from '../retention';
import { exactLimits, numberAtRisk, survivalAt, turnbull } from '../survival';
import { AnswerStopped, type AnswerHooks } from './answer-outcome';
import { seenInYear } from './by-year';
import { askedAbout } from './eligible';
import { gainRows } from './gain-rows';
import { lastingGain } from './lasting-gain';
import { percentText } from './number-text';
import { patientContrasts, patientOutcome } from './patient-outcome';
import type { PreparedQuestion } from './prepared-question';
import type { OutcomeQuestion } from './question';
import type { SensitivityAnswer, SensitivityAspect, SensitivityRow } from './sensitivity-answer';
import { readClock } from './separate-gain';
import { influenceOf, rangeOf } from './separation-influence';

/** One way of answering: what is changed, and the question and yardstick that result. */
interface Variant {
  readonly aspect: SensitivityAspect;
  readonly choice: string;
  readonly inForce: boolean;
  readonly question: OutcomeQuestion;
  readonly yardstick: Yardstick;
}

const YEARS = [5, 4, 3, 2, 1];
const ENOUGH = 10;

/**
 * Answers the question again with one thing changed at a time: growth reference, growth clock, loss rule, method error,
 * threshold, protocol. No resampling: survival carries the exact limits of the number still followed. What does not
 * change is not fitted again.
 *
 * @throws AnswerStopped when the hooks ask to stop
 */
export function sensitivity(prepared: PreparedQuestion, hooks: AnswerHooks = {}): SensitivityAnswer {
  const base = read(prepared, prepared.question, prepared.yardstick);
  const retainedYear = YEARS.find((year) => seenInYear(base.contrasts, year).length >= ENOUGH) ?? null;
  const times = base.outcomes.flatMap(({ loss }) => (loss === null ? [] : [loss]));
  const survivalYear = YEARS.find((year) => numberAtRisk(times, year) >= ENOUGH) ?? null;
  const variants = variantsOf(prepared);
  const rows = variants.map((variant, i) => {
    if (hooks.shouldStop?.() === true) throw new AnswerStopped();
    hooks.progress?.(i / variants.length, `Answering with another ${ASPECT_WORDS[variant.aspect]}`);
    return rowOf(prepared, variant, retainedYear, survivalYear);
  });
  const clock = readClock(
    gainRows(base.contrasts, prepared.yardstick),
    prepared.yardstick,
    prepared.question.level,
  );
  return {
    retainedYear,
    survivalYear,
    rows,
    withoutOne:
      retainedYear === null ? null : shareWithoutOne(base.contrasts, retainedYear, prepared.yardstick),
    influence: isRefusal(clock) ? null : influenceOf(clock, gainRows(base.contrasts, prepared.yardstick)),
  };
}

/** What is changed, in words. */
export const ASPECT_WORDS: Readonly<Record<SensitivityAspect, string>> = {
  reference: 'growth reference',
  clock: 'growth clock',
  rule: 'loss rule',
  error: 'method error',
  threshold: 'threshold',
  protocol: 'protocol',
};

function variantsOf(prepared: PreparedQuestion): Variant[] {
  const { study, question, reference, yardstick } = prepared;
  const variant = (
    aspect: SensitivityAspect,
    choice: string,
    inForce: boolean,
    change: Partial<OutcomeQuestion>,
    other: Partial<Yardstick> = {},
  ): Variant => ({
    aspect,
    choice,
    inForce,
    question: { ...question, ...change },
    yardstick: { ...yardstick, ...other },
  });
  const protocols = [
    ...new Set(askedAbout(study, question).flatMap(({ patient }) => patient.protocol ?? [])),
  ].sort();
  return [
    ...otherReferences(prepared).map((one) =>
      variant('reference', referenceWords(one), one === reference, {}, { reference: one }),
    ),
    ...(reference.kind === 'not-needed'
      ? []
      : (['age', 'maturity'] as const).map((growthClock) =>
          variant('clock', CLOCK_WORDS[growthClock], growthClock === question.growthClock, { growthClock }),
        )),
    ...(['any-visit', 'confirmed', 'beyond-error'] as const).map((rule) =>
      variant('rule', RULE_NAMES[rule], rule === question.rule, { rule }),
    ),
    ...[0.5, 1, 1.5].map((factor) =>
      variant(
        'error',
        ERROR_WORDS[factor] ?? '',
        factor === 1,
        {},
        {
          error: {
            film: yardstick.error.film * factor ** 2,
            retracing: yardstick.error.retracing * factor ** 2,
          },
        },
      ),
    ),
    ...thresholdVariants(question).map(({ share, inForce }) =>
      variant('threshold', `at least ${percentText(share)} of the gain`, inForce, {
        threshold: { kind: 'share', share },
      }),
    ),
    ...(protocols.length < 2
      ? []
      : protocols.map((protocol) =>
          variant('protocol', `only ${protocol}`, false, { filter: { ...question.filter, protocol } }),
        )),
  ];
}

function thresholdVariants({ threshold }: OutcomeQuestion): { share: number; inForce: boolean }[] {
  const own = threshold.kind === 'share' ? threshold.share : null;
  const shares = [...new Set([0.5, 0.75, 0.9, ...(own === null ? [] : [own])])].sort((a, b) => a - b);
  return shares.map((share) => ({ share, inForce: share === own }));
}

const REFERENCE_WORDS: Readonly<Record<GrowthReference['kind'], string>> = {
  'not-needed': 'No growth to take out',
  none: 'No reference',
  'untreated-series': 'Untreated series',
  'imported-table': 'Imported table',
  'built-in-table': 'Built-in table',
};

function referenceWords(reference: GrowthReference): string {
  const words = REFERENCE_WORDS[reference.kind];
  return reference.kind === 'imported-table' ? `${words} ${reference.name}` : words;
}

const CLOCK_WORDS = { age: 'Growth by age', maturity: 'Growth by stage of maturity' } as const;
const RULE_NAMES = {
  'any-visit': 'Below at any visit',
  confirmed: 'Below, then confirmed',
  'beyond-error': 'Below, beyond error',
} as const;
const ERROR_WORDS: Readonly<Record<number, string>> = {
  0.5: 'Half the method error',
  1: 'The method error in force',
  1.5: 'One and a half times the method error',
};

/** The reference in force and every other one that can speak for this measure. */
function otherReferences({
  study,
  measure,
  tables,
  reference: inForce,
}: PreparedQuestion): GrowthReference[] {
  if (inForce.kind === 'not-needed') return [];
  const imported = tableNames(tables, measure.code)
    .filter((name) => !(inForce.kind === 'imported-table' && inForce.name === name))
    .map((name) => growthReference(study, measure, 'imported-table', { tables, name }));
  const others = (['untreated-series', 'built-in-table'] as const)
    .filter((kind) => kind !== inForce.kind)
    .map((choice) => growthReference(study, measure, choice));
  return [inForce, ...others, ...imported].filter(({ kind }) => kind !== 'none');
}

function read({ study }: PreparedQuestion, question: OutcomeQuestion, yardstick: Yardstick) {
  const consenting = askedAbout(study, question).filter(({ patient }) => patient.consentFollowUp);
  return {
    outcomes: consenting.map((history) => patientOutcome(history, question, yardstick)),
    contrasts: consenting.flatMap((history) => patientContrasts(history, question, yardstick) ?? []),
  };
}

type Contrasts = ReturnType<typeof read>['contrasts'];

function lastingPart(
  contrasts: Contrasts,
  yardstick: Yardstick,
  level: number,
): Pick<SensitivityRow, 'lasting' | 'share' | 'diagnosis'> {
  const gain = lastingGain(gainRows(contrasts, yardstick), yardstick, level);
  if (isRefusal(gain)) return { lasting: null, share: null, diagnosis: null };
  const { lasting, share, diagnosis } = gain;
  return { lasting, share, diagnosis };
}

function rowOf(
  prepared: PreparedQuestion,
  { aspect, choice, inForce, question, yardstick }: Variant,
  retainedYear: number | null,
  survivalYear: number | null,
): SensitivityRow {
  const { outcomes, contrasts } = read(prepared, question, yardstick);
  const times = outcomes.flatMap(({ loss }) => (loss === null ? [] : [loss]));
  return {
    aspect,
    choice,
    inForce,
    patients: contrasts.length,
    retained: retainedYear === null ? null : retainedAt(contrasts, retainedYear, yardstick, question.level),
    survival:
      survivalYear === null || times.length === 0 ? null : survivalIn(times, survivalYear, question.level),
    ...lastingPart(contrasts, yardstick, question.level),
  };
}

function retainedAt(
  contrasts: Contrasts,
  year: number,
  yardstick: Yardstick,
  level: number,
): SensitivityRow['retained'] {
  const pairs = seenInYear(contrasts, year).map(({ sex, first, visit }) => ({
    sex,
    first,
    later: visit.gain,
  }));
  const { n, share } = groupShare(pairs, yardstick, level);
  return share === null ? null : { n, ...share };
}

function survivalIn(
  times: Parameters<typeof turnbull>[0],
  year: number,
  level: number,
): SensitivityRow['survival'] {
  const atRisk = numberAtRisk(times, year);
  if (atRisk === 0) return null;
  const { survival, undefinedWithin } = survivalAt(turnbull(times), year);
  return { year, estimate: survival, limits: exactLimits(survival, atRisk, level), atRisk, undefinedWithin };
}

function shareWithoutOne(
  contrasts: Contrasts,
  year: number,
  yardstick: Yardstick,
): SensitivityAnswer['withoutOne'] {
  const seen = seenInYear(contrasts, year).map(({ code, sex, first, visit }) => ({
    code,
    first: estimateContrast(first, sex, yardstick).estimate,
    later: estimateContrast(visit.gain, sex, yardstick).estimate,
  }));
  if (seen.length < 3) return null;
  const first = seen.reduce((sum, one) => sum + one.first, 0);
  const later = seen.reduce((sum, one) => sum + one.later, 0);
  return rangeOf(seen.map((one) => ({ code: one.code, value: (later - one.later) / (first - one.first) })));
}
