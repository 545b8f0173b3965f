import { studyDefinitionSchema } from '@longhold/core/contribution';
import { isRefusal, type RandomStream, type Refusal } from '@longhold/core/numeric';
import {
  allCentreEstimates,
  gainSums,
  pooledAnswer,
  sortedSums,
  type CentreInPool,
  type CentreStatistics,
  type LossCount,
  type MeasureStatistics,
  type OneStage,
  type TwoStageMean,
} from '@longhold/core/pooled';
import { ratioIsIn } from '@longhold/core/ratio';
import { outcomeOf, type JointCoverageStudy, type Outcome } from './coverage-study';

/** What is planted: means over centres, and how much centres differ (SD). */
const LASTING = { mean: 2.5, sd: 0.5 };
const FORWARD = { mean: 0.6, sd: 0.15 };
const SHARE = { mean: 0.8, sd: 0.06 };
/** log of the yearly hazard of loss. */
const LOG_HAZARD = { mean: Math.log(0.12), sd: 0.3 };
const YEAR = 3;

const DEFINITION = studyDefinitionSchema.parse({
  measures: ['Co-Gn'],
  threshold: { kind: 'share', share: 0.75 },
  rule: 'any-visit',
  reference: { kind: 'built-in-table' },
  groupBy: 'sex',
  protocols: [],
  years: [YEAR],
  coarsening: {},
});

/** Patients of the centres: unequal, as clinics are. */
const SIZES = [60, 25, 120, 35, 20, 80, 25, 45, 150, 30];

interface Centre {
  readonly lasting: number;
  readonly forward: number;
  readonly share: number;
  readonly logHazard: number;
}

function drawCentre(random: RandomStream, differ: number): Centre {
  const draw = ({ mean, sd }: { readonly mean: number; readonly sd: number }): number =>
    mean + differ * sd * random.normal();
  return { lasting: draw(LASTING), forward: draw(FORWARD), share: draw(SHARE), logHazard: draw(LOG_HAZARD) };
}

function drawGains(random: RandomStream, { lasting, forward }: Centre) {
  const own = { lasting: lasting + 0.7 * random.normal(), forward: forward + 0.2 * random.normal() };
  const start = 2.6 + 0.4 * random.normal();
  return Array.from({ length: 2 + random.integer(4) }, (_, time) => {
    const velocity = Math.max(0, start - 0.5 * time);
    return { velocity, gain: own.lasting + own.forward * velocity + 0.5 * random.normal() };
  });
}

function drawRetention(
  random: RandomStream,
  patients: number,
  { share }: Centre,
): MeasureStatistics['retention'] {
  const pairs = Array.from({ length: patients }, () => {
    const end = 3.5 + random.normal();
    return { end, now: share * end + 0.8 * random.normal() };
  });
  const sum = (of: (pair: { end: number; now: number }) => number): number =>
    pairs.reduce((total, pair) => total + of(pair), 0);
  const [end, now] = [sum((pair) => pair.end), sum((pair) => pair.now)];
  const scatter = {
    end: sum((pair) => (pair.end - end / patients) ** 2),
    both: sum((pair) => (pair.end - end / patients) * (pair.now - now / patients)),
    now: sum((pair) => (pair.now - now / patients) ** 2),
  };
  return [{ year: YEAR, patients, end, now, scatter, curve: { end: 0, both: 0, now: 0 } }];
}

/** Yearly visits, a fifth of them missed, for three to six years. */
function drawLoss(random: RandomStream, { logHazard }: Centre): LossCount {
  const lostAt = random.exponential(Math.exp(logHazard));
  let left = 0;
  const years = 3 + random.integer(4);
  for (let year = 1; year <= years; year++) {
    if (year < years && random.uniform() < 0.2) continue;
    const day = Math.round(365.25 * year + 40 * (random.uniform() - 0.5));
    if (lostAt * 365.25 <= day) return { group: null, left, right: day, patients: 1 };
    left = day;
  }
  return { group: null, left, right: null, patients: 1 };
}

function drawMember(random: RandomStream, name: number, patients: number, centre: Centre): CentreInPool {
  const gains = Array.from({ length: patients }, () => drawGains(random, centre));
  const statistics: CentreStatistics = {
    form: 1,
    definition: 1,
    software: '0.1.0',
    flow: {
      treated: null,
      contributed: patients,
      withoutConsent: null,
      withoutEnd: null,
      withoutStart: null,
      withoutAge: null,
      outsideLimits: null,
      tooFewAlike: null,
    },
    treated: patients,
    untreated: 0,
    measures: [
      {
        measure: 'Co-Gn',
        methodError: null,
        reference: { kind: 'common', children: 0 },
        leftOut: [],
        flow: [],
        retention: drawRetention(random, Math.round(0.6 * patients), centre),
        losses: Array.from({ length: patients }, () => drawLoss(random, centre)),
        endings: [],
        separation: {
          patients: sortedSums(gains.map(gainSums)),
          endVelocity: gains.reduce((sum, rows) => sum + (rows[0]?.velocity ?? 0), 0),
          endPatients: patients,
          curve: null,
        },
      },
    ],
  };
  return { centre: `centre ${name}`, statistics, estimates: allCentreEstimates(statistics, DEFINITION) };
}

function ofMean(truth: number, mean: TwoStageMean | Refusal | undefined): Outcome {
  return mean === undefined || isRefusal(mean) ? 'undefined' : outcomeOf(truth, mean.limits);
}

function ofPrediction(truth: number, mean: TwoStageMean | Refusal | undefined): Outcome {
  return mean === undefined || isRefusal(mean) || mean.prediction === null
    ? 'undefined'
    : outcomeOf(truth, mean.prediction);
}

function ofStage(truth: number, stage: OneStage | Refusal | undefined): Outcome {
  if (stage === undefined || isRefusal(stage)) return 'undefined';
  return stage.interval.kind === 'bounded'
    ? outcomeOf(truth, stage.interval)
    : ratioIsIn(stage.interval, truth)
      ? 'open'
      : 'truth-above';
}

/** Pools of invented centres: 3, 5 and 10 of unequal size, alike and differing. */
export const POOLED_COVERAGE: readonly JointCoverageStudy[] = [3, 5, 10].flatMap((count) =>
  [1, 0].map((differ): JointCoverageStudy => ({
    situation: `${count} centres of 20 to 150 patients that ${differ === 1 ? 'differ' : 'are alike'}`,
    level: 0.95,
    replicates: 300,
    trials(random) {
      const members = Array.from({ length: count }, (_, i) =>
        drawMember(random, i, SIZES[i % SIZES.length] ?? 20, drawCentre(random, differ)),
      );
      const further = drawCentre(random, differ);
      const [pooled] = pooledAnswer(members, DEFINITION, 1).measures;
      const survival = pooled?.survival[0];
      const share = pooled?.retention[0];
      const parts = pooled?.separation;
      const stillThere = (logHazard: number): number => Math.exp(-YEAR * Math.exp(logHazard));
      return {
        'retained share, mean over centres': [ofMean(SHARE.mean, share?.twoStage)],
        'retained share of a further centre': [ofPrediction(further.share, share?.twoStage)],
        'survival, mean over centres': [ofMean(stillThere(LOG_HAZARD.mean), survival?.twoStage)],
        'survival in a further centre': [ofPrediction(stillThere(further.logHazard), survival?.twoStage)],
        'lasting gain T, mean over centres': [ofMean(LASTING.mean, parts?.lasting.twoStage)],
        'lasting gain T, one model': [ofStage(LASTING.mean, parts?.lasting.oneStage)],
        'years brought forward S, mean over centres': [ofMean(FORWARD.mean, parts?.forward.twoStage)],
        'years brought forward S, one model': [ofStage(FORWARD.mean, parts?.forward.oneStage)],
        ...(differ === 0
          ? {
              'retained share, all patients as one series': [ofStage(SHARE.mean, share?.oneStage)],
              'survival, all patients as one series': [
                ofStage(stillThere(LOG_HAZARD.mean), survival?.oneStage),
              ],
            }
          : {}),
      };
    },
  })),
);
