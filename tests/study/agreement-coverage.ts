import {
  bootstrapKappa,
  constantTruthAgreement,
  detectableChange,
  duplicateSpread,
  intraclassCorrelations,
  limitsOfAgreement,
  varyingTruthAgreement,
  weightedKappa,
  withinSubjectSpread,
  type IntraclassForm,
  type KappaWeights,
  type ReplicateWeighing,
} from '@longhold/core/agreement';
import { isRefusal, twoSidedNormal, type RandomStream, type Refusal } from '@longhold/core/numeric';
import { outcomeOf, type CoverageStudy, type Outcome } from './coverage-study';

type Limits = { readonly lower: number | null; readonly upper: number | null } | null;

function outcomeIn<Answer extends object>(
  truth: number,
  answer: Answer | Refusal,
  limits: (answer: Answer) => Limits,
): Outcome {
  return isRefusal(answer) ? 'undefined' : outcomeOf(truth, limits(answer));
}

/** Readings of 60 to 80 mm with an error of 0.8 mm and a difference between first and second of `bias`. */
function duplicates(
  random: RandomStream,
  pairs: number,
  bias: number,
): { first: number[]; second: number[] } {
  const first: number[] = [];
  const second: number[] = [];
  for (let i = 0; i < pairs; i++) {
    const truth = 70 + 4 * random.normal();
    first.push(truth + ERROR * random.normal());
    second.push(truth + bias + ERROR * random.normal());
  }
  return { first, second };
}

const ERROR = 0.8;
const Z = twoSidedNormal(0.95);

const duplicateStudies = [10, 25, 100].flatMap((pairs): CoverageStudy[] => [
  {
    interval: "Dahlberg's error",
    situation: `${pairs} pairs, no bias`,
    level: 0.95,
    replicates: 2000,
    trial: (random) =>
      outcomeIn(ERROR, duplicateSpread(duplicates(random, pairs, 0)), (answer) => answer.dahlbergLimits),
  },
  {
    interval: "Dahlberg's error",
    situation: `${pairs} pairs, bias of one error SD: the assumption is broken`,
    level: 0.95,
    replicates: 2000,
    trial: (random) =>
      outcomeIn(ERROR, duplicateSpread(duplicates(random, pairs, ERROR)), (answer) => answer.dahlbergLimits),
  },
  {
    interval: 'method of moments',
    situation: `${pairs} pairs, bias of one error SD`,
    level: 0.95,
    replicates: 2000,
    trial: (random) =>
      outcomeIn(ERROR, duplicateSpread(duplicates(random, pairs, ERROR)), (answer) => answer.momentsLimits),
  },
  {
    interval: 'bias between readings',
    situation: `${pairs} pairs, bias of one error SD`,
    level: 0.95,
    replicates: 2000,
    trial: (random) =>
      outcomeIn(ERROR, duplicateSpread(duplicates(random, pairs, ERROR)), (answer) => answer.biasLimits),
  },
  {
    interval: 'smallest detectable change',
    situation: `${pairs} pairs, from the method of moments`,
    level: 0.95,
    replicates: 2000,
    trial(random) {
      const spread = duplicateSpread(duplicates(random, pairs, 0.3));
      if (isRefusal(spread)) return 'undefined';
      const change = detectableChange({ sd: spread.moments, df: pairs - 1 });
      return outcomeIn(Z * Math.SQRT2 * ERROR, change, (answer) => answer.patientLimits);
    },
  },
]);

function ratings(
  random: RandomStream,
  subjects: number,
  raters: number,
  sd: { readonly subject: number; readonly rater: number; readonly error: number },
): number[][] {
  const levels = Array.from({ length: raters }, () => sd.rater * random.normal());
  return Array.from({ length: subjects }, () => {
    const truth = sd.subject * random.normal();
    return levels.map((level) => truth + level + sd.error * random.normal());
  });
}

const ICC_SD = { subject: 2, rater: 0.6, error: 0.8 };

function intraclassStudy(
  form: IntraclassForm,
  subjects: number,
  raters: number,
  sd: typeof ICC_SD,
  truth: number,
): CoverageStudy {
  return {
    interval: form,
    situation: `${subjects} subjects, ${raters} raters, true value ${truth.toFixed(2)}`,
    level: 0.95,
    replicates: 2000,
    trial: (random) =>
      outcomeIn(
        truth,
        intraclassCorrelations(ratings(random, subjects, raters, sd)),
        ({ coefficients }) => coefficients.find((one) => one.form === form) ?? null,
      ),
  };
}

const intraclassStudies = [10, 30].flatMap((subjects) =>
  [2, 4].flatMap((raters) => {
    const { subject, rater, error } = ICC_SD;
    const noise = rater ** 2 + error ** 2;
    const agreement = subject ** 2 / (subject ** 2 + noise);
    const consistency = subject ** 2 / (subject ** 2 + error ** 2);
    // One-way: every reading has its own rater, so that rater and error are one.
    const oneWay = { subject, rater: 0, error: Math.sqrt(noise) };
    return [
      intraclassStudy('ICC(1,1)', subjects, raters, oneWay, agreement),
      intraclassStudy('ICC(2,1)', subjects, raters, ICC_SD, agreement),
      intraclassStudy('ICC(3,1)', subjects, raters, ICC_SD, consistency),
      intraclassStudy('ICC(2,k)', subjects, raters, ICC_SD, subject ** 2 / (subject ** 2 + noise / raters)),
    ];
  }),
);

const UNEQUAL = [1, 2, 2, 3, 5, 8, 1, 4, 2, 2];

const withinStudies = (['withinLimits', 'reliabilityLimits'] as const).map((which): CoverageStudy => ({
  interval: which === 'withinLimits' ? 'within-subject SD' : 'reliability, one-way',
  situation: '10 subjects, 1 to 8 readings each',
  level: 0.95,
  replicates: 2000,
  trial(random) {
    const { subject, value } = unequalReadings(random);
    const truth = which === 'withinLimits' ? ERROR : 4 / (4 + ERROR ** 2);
    return outcomeIn(truth, withinSubjectSpread({ subject, value }), (answer) => answer[which]);
  },
}));

function unequalReadings(random: RandomStream): { subject: number[]; value: number[] } {
  const subject = UNEQUAL.flatMap((count, i) => Array.from({ length: count }, () => i));
  const truths = UNEQUAL.map(() => 70 + 2 * random.normal());
  return { subject, value: subject.map((i) => (truths[i] ?? NaN) + ERROR * random.normal()) };
}

const limitStudies = [10, 30].flatMap((pairs) =>
  (['exact', 'approximate'] as const).map((kind): CoverageStudy => ({
    interval: `upper limit of agreement, ${kind}`,
    situation: `${pairs} pairs, normal differences`,
    level: 0.95,
    replicates: 2000,
    trial: (random) =>
      outcomeIn(
        0.5 + Z * Math.SQRT2 * ERROR,
        limitsOfAgreement(duplicates(random, pairs, 0.5)),
        (answer) => answer.upper[kind],
      ),
  })),
);

/** Differences with an SD of 1 mm between subjects and `within` inside, mean 0.5 mm, numbers of pairs as given. */
function replicated(
  random: RandomStream,
  counts: readonly number[],
  within: number,
): { subject: number[]; first: number[]; second: number[] } {
  const subject = counts.flatMap((count, i) => Array.from({ length: count }, () => i));
  const own = counts.map(() => random.normal());
  const first = subject.map(() => 70 + 3 * random.normal());
  const second = subject.map(
    (i, row) => (first[row] ?? NaN) + 0.5 + (own[i] ?? NaN) + within * random.normal(),
  );
  return { subject, first, second };
}

const COUNTS: readonly (readonly [words: string, counts: readonly number[]])[] = [
  ['10 subjects, 1 to 8 pairs each', UNEQUAL],
  ['12 subjects, 3 pairs each', Array.from({ length: 12 }, () => 3)],
  ['30 subjects, 1 to 8 pairs each', [...UNEQUAL, ...UNEQUAL, ...UNEQUAL]],
];

const varyingStudies = COUNTS.flatMap(([words, counts]) =>
  (['pairs', 'subjects'] as const).flatMap((weighing: ReplicateWeighing) =>
    [0.4, 1.5].map((within): CoverageStudy => {
      return {
        interval: `upper limit of agreement, true value varies, weighing by ${weighing}`,
        situation: `${words}, within/between SD ${within}`,
        level: 0.95,
        replicates: 2000,
        trial: (random) =>
          outcomeIn(
            0.5 + Z * Math.hypot(1, within),
            varyingTruthAgreement(replicated(random, counts, within), { weighing }),
            (answer) => answer.upper,
          ),
      };
    }),
  ),
);

const constantStudies = COUNTS.map(([words, counts]): CoverageStudy => ({
  interval: 'upper limit of agreement, true value constant',
  situation: `${words} and method, errors 0.8 and 0.5`,
  level: 0.95,
  replicates: 2000,
  trial(random) {
    const rows = counts.flatMap((count, subject) => {
      const truth = 70 + 3 * random.normal();
      const own = random.normal();
      return Array.from({ length: count }, () => [
        { subject, method: 'first' as const, value: truth + 0.8 * random.normal() },
        { subject, method: 'second' as const, value: truth + 0.5 + own + 0.5 * random.normal() },
      ]).flat();
    });
    const answer = constantTruthAgreement({
      subject: rows.map((row) => row.subject),
      method: rows.map((row) => row.method),
      value: rows.map((row) => row.value),
    });
    const sd = Math.sqrt(1 + 0.8 ** 2 + 0.5 ** 2);
    return outcomeIn(0.5 + Z * sd, answer, ({ upper }) => upper);
  },
}));

/**
 * Two raters of six stages: the second repeats the first with the chance `same`, names any stage with the chance `gross`,
 * else is one stage off.
 */
const STAGES = 6;
const GROSS = 0.05;

function chanceOf(i: number, j: number, same: number, gross: number): number {
  const neighbours = [i - 1, i + 1].filter((stage) => stage >= 0 && stage < STAGES);
  const far = gross / STAGES;
  const near = neighbours.includes(j) ? (1 - gross - same) / neighbours.length : 0;
  return far + near + (i === j ? same : 0);
}

function trueKappa(same: number, gross: number, weights: KappaWeights): number {
  // A table of a billion pairs in the true proportions, its counts rounded.
  const table = Array.from({ length: STAGES }, (_, i) =>
    Array.from({ length: STAGES }, (_, j) => Math.round((1e9 / STAGES) * chanceOf(i, j, same, gross))),
  );
  const answer = weightedKappa(table, { weights });
  return isRefusal(answer) ? NaN : answer.kappa;
}

function drawStages(random: RandomStream, subjects: number, same: number, gross: number): number[][] {
  const table = Array.from({ length: STAGES }, () => Array.from({ length: STAGES }, () => 0));
  for (let subject = 0; subject < subjects; subject++) {
    const i = random.integer(STAGES);
    let left = random.uniform();
    let j = 0;
    while (j < STAGES - 1 && (left -= chanceOf(i, j, same, gross)) > 0) j++;
    const row = table[i];
    if (row !== undefined) row[j] = (row[j] ?? 0) + 1;
  }
  return table;
}

const KAPPA_LIMITS = [
  ['linear', 'limits', 'plain'],
  ['linear', 'logLimits', 'log of disagreement'],
  ['quadratic', 'limits', 'plain'],
  ['quadratic', 'logLimits', 'log of disagreement'],
] as const;

const KAPPA_TRUTHS = [
  [0.3, GROSS],
  [0.75, GROSS],
  [0.6, 0],
] as const;

const kappaStudies = [30, 100].flatMap((subjects) =>
  KAPPA_TRUTHS.flatMap(([same, gross]) =>
    KAPPA_LIMITS.map(([weights, scale, words]): CoverageStudy => {
      const truth = trueKappa(same, gross, weights);
      return {
        interval: `kappa, ${weights} weights, large-sample, ${words}`,
        situation: `${subjects} subjects, six stages, ${100 * gross} % named at random, true kappa ${truth.toFixed(2)}`,
        level: 0.95,
        replicates: 2000,
        trial: (random) =>
          outcomeIn(
            truth,
            weightedKappa(drawStages(random, subjects, same, gross), { weights }),
            (answer) => answer[scale],
          ),
      };
    }),
  ),
);

const KAPPA_BOOTSTRAP = [
  ['linear', 'percentile'],
  ['linear', 'accelerated'],
  ['quadratic', 'accelerated'],
] as const;

const kappaBootstrapStudies = [30, 100].flatMap((subjects) =>
  KAPPA_BOOTSTRAP.map(([weights, kind]): CoverageStudy => {
    const truth = trueKappa(0.75, GROSS, weights);
    return {
      interval: `kappa, ${weights} weights, bootstrap ${kind === 'percentile' ? kind : 'BCa'}`,
      situation: `${subjects} subjects, six stages, ${100 * GROSS} % named at random, true kappa ${truth.toFixed(2)}, 499 samples`,
      level: 0.95,
      replicates: 2000,
      trial(random) {
        const table = drawStages(random, subjects, 0.75, GROSS);
        const seed = random.integer(2 ** 31 - 1);
        const answer = bootstrapKappa(table, { weights, replicates: 499, seed });
        return outcomeIn(truth, answer, (found) => found[kind]);
      },
    };
  }),
);

export const AGREEMENT_COVERAGE: readonly CoverageStudy[] = [
  ...duplicateStudies,
  ...intraclassStudies,
  ...withinStudies,
  ...limitStudies,
  ...varyingStudies,
  ...constantStudies,
  ...kappaStudies,
  ...kappaBootstrapStudies,
];
