import { errorVariances, scaledMethodError } from '../agreement';
import { isRefusal } from '../numeric';
import type { PatientHistory } from '../records';
import { estimateContrast, type Yardstick } from '../retention';
import { survivalAt, turnbull } from '../survival';
import { absenceBounds } from './absence';
import { AnswerStopped, type AnswerHooks } from './answer-outcome';
import { seenInYear } from './by-year';
import {
  comparedYears,
  gainResults,
  readPatients,
  survivalResults,
  timesUnder,
  type GainResults,
} from './compared-results';
import type { ComparedResults } from './compared-answer';
import { drawnLosses, type DrawnLosses } from './drawn-losses';
import { askedAbout } from './eligible';
import { gainRows } from './gain-rows';
import { percentText } from './number-text';
import type { PatientContrasts } from './patient-outcome';
import type { PreparedQuestion } from './prepared-question';
import type { OutcomeQuestion } from './question';
import { referenceComparison, type ComparisonBase } from './reference-comparison';
import type { ReferenceComparison } from './reference-comparison-answer';
import type { SensitivityAnswer, SensitivityAspect, SensitivityRow } from './sensitivity-answer';
import { readClock } from './separate-gain';
import { influenceOf, rangeOf } from './separation-influence';
import type { SurvivalHooks } from './survival-years';

/** More patients than this are not left out one by one of the survival curve: one would hardly move it. */
const MOST_LEFT_OUT = 400;

/** Part of the work that goes into the growth references; the rest is shared by the other rows. */
const REFERENCES_END = 0.6;
const ROWS_END = 0.85;

/**
 * Answers the question again with one thing changed at a time: growth reference, growth clock, loss rule, method error,
 * threshold, protocol, those who stayed away. Survival is resampled as in the answer itself; in studies of more than
 * 2,000 patients with fewer resamples. What does not change is neither read nor fitted again: rule, threshold and method error do not touch the
 * gains, and a protocol only chooses among them.
 *
 * @throws AnswerStopped when the hooks ask to stop
 */
export function sensitivity(prepared: PreparedQuestion, hooks: AnswerHooks = {}): SensitivityAnswer {
  const step = (fraction: number, words: string): void => {
    if (hooks.shouldStop?.() === true) throw new AnswerStopped();
    hooks.progress?.(fraction, words);
  };
  step(0, 'Judging each patient');
  const { base, influence } = readBase(prepared);
  const references = referenceComparison(prepared, base, (fraction, words) =>
    step(0.1 + (REFERENCES_END - 0.1) * fraction, words),
  );
  const shouldStop = (): boolean => hooks.shouldStop?.() === true;
  const variants = variantsOf(prepared, base, { progress: () => undefined, shouldStop });
  const others = variants.map(({ make, ...row }, i): SensitivityRow => {
    const part = i / variants.length;
    step(
      REFERENCES_END + (ROWS_END - REFERENCES_END) * part,
      `Answering with another ${ASPECT_WORDS[row.aspect]}`,
    );
    return { ...row, ...make() };
  });
  const { retainedYear, survivalYear } = base.years;
  return {
    retainedYear,
    survivalYear,
    rows: [...referenceRows(prepared, references), ...others],
    references,
    withoutOne:
      retainedYear === null ? null : shareWithoutOne(base.read.contrasts, retainedYear, prepared.yardstick),
    influence,
    survivalWithoutOne: survivalYear === null ? null : survivalWithoutOne(prepared, base, survivalYear, step),
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
  absence: 'fate of those who stayed away',
};

const CLOCK_CHOICES = { age: 'Growth by age', maturity: 'Growth by stage of maturity' } as const;
const RULE_NAMES = {
  'any-visit': 'Below at any visit',
  confirmed: 'Below, then confirmed',
  'beyond-error': 'Below, beyond error',
} as const;
const ERROR_CHOICES = [
  { factor: 0.5, choice: 'Half the method error' },
  { factor: 1, choice: 'The method error in force' },
  { factor: 1.5, choice: 'One and a half times the method error' },
] as const;

/** The patients asked about as the question reads them, with the growth clock fitted once. */
function readBase(prepared: PreparedQuestion): {
  readonly base: ComparisonBase;
  readonly influence: SensitivityAnswer['influence'];
} {
  const { study, question, yardstick } = prepared;
  const histories = askedAbout(study, question).filter(({ patient }) => patient.consentFollowUp);
  const read = readPatients(histories, question, yardstick);
  const years = comparedYears(read, question.rule);
  const rows = gainRows(read.contrasts, yardstick);
  const clock = readClock(rows, yardstick, question.level);
  const gains = gainResults(read.contrasts, years, yardstick, question.level, clock);
  return {
    base: { histories, read, years, gains },
    influence: isRefusal(clock) ? null : influenceOf(clock, rows),
  };
}

/** The usable references by the clock that was asked for, then both clocks of the reference in force. */
function referenceRows({ question }: PreparedQuestion, { rows }: ReferenceComparison): SensitivityRow[] {
  const asked = rows.find(({ inForce }) => inForce);
  const row = (aspect: 'reference' | 'clock', choice: string, one: ReferenceComparison['rows'][number]) =>
    one.results === null ? [] : [{ aspect, choice, inForce: one.inForce, ...comparedOnly(one.results) }];
  const references = rows.filter(({ clock }) => clock === question.growthClock);
  const clocks = (['age', 'maturity'] as const).flatMap(
    (clock) =>
      rows.find((one) => one.kind === asked?.kind && one.table === asked.table && one.clock === clock) ?? [],
  );
  return [
    ...references.flatMap((one) => row('reference', one.name, one)),
    ...clocks.flatMap((one) => row('clock', CLOCK_CHOICES[one.clock], one)),
  ];
}

function comparedOnly(results: ComparedResults): ComparedResults {
  const { patients, retained, survival, atYears, lasting, share, diagnosis, lastingRefused } = results;
  return { patients, retained, survival, atYears, lasting, share, diagnosis, lastingRefused };
}

/** One way of answering other than by growth, and how its results are made. */
interface Variant extends Pick<SensitivityRow, 'aspect' | 'choice' | 'inForce'> {
  readonly make: () => ComparedResults;
}

function variantsOf(prepared: PreparedQuestion, base: ComparisonBase, hooks: SurvivalHooks): Variant[] {
  const { question, yardstick, methodError } = prepared;
  const { histories, read, years, gains } = base;
  const drawn = drawnLosses(read.contrasts, prepared);
  const underRule = (rule: OutcomeQuestion['rule']): ComparedResults => ({
    ...gains,
    ...survivalResults(timesUnder(read.losses, rule), years, {
      ...question,
      drawn: drawn?.under(rule) ?? null,
      asAsked: rule === question.rule,
      hooks,
    }),
  });
  const asAsked = underRule(question.rule);
  const judgedBy = (change: Partial<OutcomeQuestion>, errorFactor: number): ComparedResults => {
    const changed = { ...question, ...change };
    const error = scaledMethodError(methodError, errorFactor);
    const by = { ...yardstick, error: errorVariances(error) };
    const other = readPatients(histories, changed, by);
    const doubt = { question: changed, yardstick: by, methodError: error };
    return {
      ...gains,
      ...survivalResults(timesUnder(other.losses, question.rule), years, {
        ...question,
        drawn: drawnLosses(other.contrasts, doubt),
        asAsked: false,
        hooks,
      }),
    };
  };
  const variant = (
    aspect: SensitivityAspect,
    choice: string,
    inForce: boolean,
    make: Variant['make'],
  ): Variant => ({ aspect, choice, inForce, make: inForce ? () => asAsked : make });
  return [
    ...(['any-visit', 'confirmed', 'beyond-error'] as const).map((rule) =>
      variant('rule', RULE_NAMES[rule], rule === question.rule, () => underRule(rule)),
    ),
    ...ERROR_CHOICES.map(({ factor, choice }) =>
      variant('error', choice, factor === 1, () => judgedBy({}, factor)),
    ),
    ...thresholdChoices(question).map(({ share, inForce }) =>
      variant('threshold', `at least ${percentText(share)} of the gain`, inForce, () =>
        judgedBy({ threshold: { kind: 'share', share } }, 1),
      ),
    ),
    ...protocolVariants(prepared, base, drawn, hooks),
    ...absenceVariants(prepared, base, asAsked.survival),
  ];
}

function thresholdChoices({ threshold }: OutcomeQuestion): { share: number; inForce: boolean }[] {
  const own = threshold.kind === 'share' ? threshold.share : null;
  const shares = [...new Set([0.5, 0.75, 0.9, ...(own === null ? [] : [own])])].sort((a, b) => a - b);
  return shares.map((share) => ({ share, inForce: share === own }));
}

/** Each protocol alone, where there are several. */
function protocolVariants(
  { question, yardstick }: PreparedQuestion,
  { histories, read, years }: ComparisonBase,
  drawn: DrawnLosses | null,
  hooks: SurvivalHooks,
): Variant[] {
  const protocols = [...new Set(histories.flatMap(({ patient }) => patient.protocol ?? []))].sort();
  if (protocols.length < 2) return [];
  return protocols.map((protocol) => ({
    aspect: 'protocol',
    choice: `only ${protocol}`,
    inForce: false,
    make: () => {
      const own = new Set(codesOf(histories, protocol));
      const contrasts = read.contrasts.filter(({ code }) => own.has(code));
      const times = timesUnder(
        read.losses.filter(({ code }) => own.has(code)),
        question.rule,
      );
      return {
        ...gainResults(contrasts, years, yardstick, question.level),
        ...survivalResults(times, years, {
          ...question,
          drawn: drawn?.among(own) ?? null,
          asAsked: false,
          hooks,
        }),
      };
    },
  }));
}

function codesOf(histories: readonly PatientHistory[], protocol: string): string[] {
  return histories.flatMap(({ patient }) => (patient.protocol === protocol ? [patient.code] : []));
}

const NOT_TOUCHED: GainResults = {
  patients: 0,
  retained: null,
  lasting: null,
  share: null,
  diagnosis: null,
  lastingRefused: null,
};

/** Survival if all who stayed away had lost the gain at once, and if all of them still had it; none where nobody did. */
function absenceVariants(
  { question }: PreparedQuestion,
  { histories, read, years, gains }: ComparisonBase,
  survival: ComparedResults['survival'],
): Variant[] {
  const { survivalYear } = years;
  if (survivalYear === null) return [];
  const outcomes = read.losses.map((one) => ({ ...one, loss: one.lossByRule?.[question.rule] ?? null }));
  const bounds = absenceBounds(histories, outcomes, question, survivalYear);
  if (bounds === null) return [];
  const bound = (choice: string, estimate: number): Variant => ({
    aspect: 'absence',
    choice,
    inForce: false,
    make: () => ({
      ...NOT_TOUCHED,
      patients: gains.patients,
      survival: survival === null ? null : { ...survival, estimate, limits: null, undefinedWithin: null },
      atYears: [],
    }),
  });
  return [
    bound('All who stayed away lost it after their last visit', bounds.worst),
    bound('All who stayed away still have it', bounds.best),
  ];
}

function shareWithoutOne(
  contrasts: readonly PatientContrasts[],
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

/** Survival at one year with each patient left out; patients with the same times give the same curve. */
function survivalWithoutOne(
  { question }: PreparedQuestion,
  { read }: ComparisonBase,
  year: number,
  step: (fraction: number, words: string) => void,
): SensitivityAnswer['survivalWithoutOne'] {
  const members = read.losses.flatMap(({ code, lossByRule }) =>
    lossByRule === null ? [] : [{ code, loss: lossByRule[question.rule] }],
  );
  if (members.length < 3 || members.length > MOST_LEFT_OUT) return null;
  const known = new Map<string, number>();
  return rangeOf(
    members.map(({ code, loss }, i) => {
      const key = `${loss.left} ${loss.right ?? ''}`;
      let value = known.get(key);
      if (value === undefined) {
        step(ROWS_END + ((1 - ROWS_END) * i) / members.length, 'Leaving out one patient at a time');
        value = survivalAt(turnbull(members.filter((_, j) => j !== i).map((one) => one.loss)), year).survival;
        known.set(key, value);
      }
      return { code, value };
    }),
  );
}
