import {
  contrasts,
  fitMixedModel,
  predictMeans,
  predictRandomEffects,
  prepareMixedModel,
  profileVarianceComponents,
  type MixedData,
  type MixedFit,
  type MixedModel,
} from '@longhold/core/mixed';
import { isRefusal, type RandomStream } from '@longhold/core/numeric';
import { outcomeOf, type CoverageStudy, type Outcome } from './coverage-study';

const LEVEL = 0.95;
const REPLICATES = 2000;
/** A profile is some hundred fits. */
const PROFILE_REPLICATES = 1000;

/** Truths of the invented situations; residual SD 1. */
const LEVEL_SD = 2;
const RATE_SD = 0.5;
const CORRELATION = 0.3;
const CENTRE_SD = 1;
const RATE = 1.2;

interface Sample {
  readonly data: MixedData;
  /** True level and rate of the first patient, deviations from the mean line. */
  readonly own: { readonly level: number; readonly rate: number };
}

interface Situation {
  readonly patients: number;
  /** Random slopes beside random levels. */
  readonly rates: boolean;
  /** 0: no centres. */
  readonly centres: number;
  readonly residualKnown?: boolean;
}

/** Patients seen 2 to 5 times, about yearly; the first always four times. */
function draw(random: RandomStream, situation: Situation): Sample {
  const { patients, rates, centres } = situation;
  const response: number[] = [];
  const time: number[] = [];
  const label: number[] = [];
  const centre: number[] = [];
  const own: { level: number; rate: number }[] = [];
  const centreLevels = Array.from({ length: centres }, () => CENTRE_SD * random.normal());
  for (let patient = 0; patient < patients; patient++) {
    const first = random.normal();
    const second = CORRELATION * first + Math.sqrt(1 - CORRELATION ** 2) * random.normal();
    const deviation = { level: LEVEL_SD * first, rate: rates ? RATE_SD * second : 0 };
    own.push(deviation);
    // Every centre has its share of the patients.
    const at = centres === 0 ? 0 : patient % centres;
    const visits = patient === 0 ? 4 : 2 + random.integer(4);
    for (let visit = 0; visit < visits; visit++) {
      const when = visit + 0.4 * (random.uniform() - 0.5);
      response.push(
        40 + (centreLevels[at] ?? 0) + deviation.level + (RATE + deviation.rate) * when + random.normal(),
      );
      time.push(when);
      label.push(patient);
      centre.push(at);
    }
  }
  const columns = [
    { name: 'intercept', values: time.map(() => 1) },
    { name: 'time', values: time },
  ];
  return {
    own: own[0] ?? { level: NaN, rate: NaN },
    data: {
      response,
      fixed: columns,
      random: { factor: 'patient', labels: label, columns: rates ? columns : columns.slice(0, 1) },
      ...(centres > 0 && { outer: { factor: 'centre', labels: centre, columns: columns.slice(0, 1) } }),
      ...(situation.residualKnown === true && { residual: { standardDeviation: 1 } }),
    },
  };
}

function inWords({ patients, rates, centres, residualKnown }: Situation): string {
  return [
    `${patients} patients${centres > 0 ? ` in ${centres} centres` : ''}, 2 to 5 visits`,
    rates ? 'own levels and rates' : 'own levels',
    ...(residualKnown === true ? ['residual SD known'] : []),
  ].join(', ');
}

/** A study of one interval: what it says of a fit to one sample. */
function study(
  interval: string,
  situation: Situation,
  judge: (model: MixedModel, fit: MixedFit, sample: Sample) => Outcome,
  options: { readonly criterion?: 'REML' | 'ML'; readonly replicates?: number } = {},
): CoverageStudy {
  return {
    interval,
    situation: inWords(situation),
    level: LEVEL,
    replicates: options.replicates ?? REPLICATES,
    trial(random) {
      const sample = draw(random, situation);
      const model = prepareMixedModel(sample.data);
      if (isRefusal(model)) return 'undefined';
      const fit = fitMixedModel(model, { criterion: options.criterion ?? 'REML' });
      return isRefusal(fit) ? 'undefined' : judge(model, fit, sample);
    },
  };
}

function slopeStudy(situation: Situation): CoverageStudy {
  return study('Mean rate, Satterthwaite', situation, (model, fit) => {
    const found = contrasts(model, fit, [{ name: 'rate', weights: [0, 1] }], LEVEL);
    return isRefusal(found) ? 'undefined' : outcomeOf(RATE, found[0] ?? null);
  });
}

function levelStudy(situation: Situation): CoverageStudy {
  return study('Mean level, Satterthwaite', situation, (model, fit) => {
    const found = contrasts(model, fit, [{ name: 'level', weights: [1, 0] }], LEVEL);
    return isRefusal(found) ? 'undefined' : outcomeOf(40, found[0] ?? null);
  });
}

/** Truths of the components in the order in which they are listed. */
function componentTruths({ rates, centres }: Situation): { name: string; truth: number }[] {
  return [
    { name: 'SD of levels', truth: LEVEL_SD },
    ...(rates
      ? [
          { name: 'SD of rates', truth: RATE_SD },
          { name: 'Correlation of level and rate', truth: CORRELATION },
        ]
      : []),
    ...(centres > 0 ? [{ name: 'SD of centres', truth: CENTRE_SD }] : []),
    { name: 'Residual SD', truth: 1 },
  ];
}

function componentStudies(
  situation: Situation,
  names: readonly string[],
  criterion: 'REML' | 'ML' = 'REML',
): CoverageStudy[] {
  const truths = componentTruths(situation);
  return names.map((name) => {
    const place = truths.findIndex((component) => component.name === name);
    const truth = truths[place]?.truth ?? NaN;
    return study(
      `${name}, profile likelihood, ${criterion}`,
      situation,
      (model, fit) => {
        const found = profileVarianceComponents(model, fit, LEVEL, [place]);
        const component = isRefusal(found) ? undefined : found[0];
        return component === undefined || component.note !== null ? 'undefined' : outcomeOf(truth, component);
      },
      { criterion, replicates: PROFILE_REPLICATES },
    );
  });
}

function predictionStudy(situation: Situation): CoverageStudy {
  return study("A patient's own level, prediction interval", situation, (model, fit, { own }) => {
    const found = predictRandomEffects(model, fit, LEVEL);
    const first = isRefusal(found) ? undefined : found.groups[0];
    if (first === undefined) return 'undefined';
    return outcomeOf(own.level, { lower: first.lower[0] ?? null, upper: first.upper[0] ?? null });
  });
}

function courseStudy(situation: Situation): CoverageStudy {
  return study("A patient's own mean at 5 years, prediction interval", situation, (model, fit, { own }) => {
    const found = predictMeans(
      model,
      fit,
      [{ label: 0, fixed: [1, 5], random: situation.rates ? [1, 5] : [1] }],
      LEVEL,
    );
    const truth = 40 + own.level + (RATE + own.rate) * 5;
    return isRefusal(found) ? 'undefined' : outcomeOf(truth, found[0] ?? null);
  });
}

const free = (patients: number): Situation => ({ patients, rates: true, centres: 0 });

const centred = (patients: number, centres: number): Situation => ({ patients, rates: false, centres });

export const MIXED_COVERAGE: readonly CoverageStudy[] = [
  slopeStudy(free(8)),
  slopeStudy(free(20)),
  slopeStudy(free(60)),
  slopeStudy({ ...free(20), residualKnown: true }),
  levelStudy(centred(48, 6)),
  ...componentStudies(free(8), ['SD of levels', 'SD of rates']),
  ...componentStudies(free(20), [
    'SD of levels',
    'SD of rates',
    'Correlation of level and rate',
    'Residual SD',
  ]),
  ...componentStudies(free(20), ['SD of levels', 'SD of rates'], 'ML'),
  ...componentStudies(free(60), ['SD of levels', 'SD of rates']),
  ...componentStudies(centred(48, 6), ['SD of centres']),
  ...componentStudies(centred(80, 10), ['SD of centres']),
  ...componentStudies(centred(48, 6), ['SD of centres'], 'ML'),
  predictionStudy(free(8)),
  predictionStudy(free(20)),
  predictionStudy(free(60)),
  courseStudy(free(8)),
  courseStudy(free(20)),
  courseStudy(free(60)),
];
