import { createRandom } from '@longhold/core/numeric';
import {
  fitFadingPart,
  fitGrowthClock,
  patientRows,
  regressorSums,
  totalInformation,
  worthOfRecall,
} from '@longhold/core/separation';
import type { SpeedCase } from './speed-case';

const VISITS = 6;

interface Gains {
  readonly patient: Float64Array;
  readonly time: Float64Array;
  readonly velocity: Float64Array;
  readonly gain: Float64Array;
}

/** Invented patients at the end of treatment and five times later; a part of their gain stays, a part goes with growth. */
function invented(patients: number): Gains {
  const random = createRandom(11);
  const size = patients * VISITS;
  const gains: Gains = {
    patient: new Float64Array(size),
    time: new Float64Array(size),
    velocity: new Float64Array(size),
    gain: new Float64Array(size),
  };
  for (let patient = 0; patient < patients; patient++) {
    const lasting = 2.5 + 1.5 * random.normal();
    const passing = 1 + 0.4 * random.normal();
    const fast = 2 + 0.6 * random.uniform();
    for (let visit = 0; visit < VISITS; visit++) {
      const row = patient * VISITS + visit;
      const time = visit === 0 ? 0 : visit + 0.3 * random.uniform();
      gains.patient[row] = patient;
      gains.time[row] = time;
      gains.velocity[row] = fast * Math.exp(-time / 2);
      gains.gain[row] = lasting + passing * (gains.velocity[row] ?? NaN) + 0.7 * random.normal();
    }
  }
  return gains;
}

const SIZES = [100, 1000, 10_000];

/** Sizes are patients, each with six gains. */
export const SEPARATION_SPEED: readonly SpeedCase[] = [
  {
    name: 'Growth clock: T and S by restricted likelihood, df, tests',
    wanted: 'no slower than lmer',
    sizes: SIZES,
    prepare(patients) {
      const gains = invented(patients);
      return {
        ours: () => fitGrowthClock({ ...gains, curve: null }),
        r: { script: 'growth-clock', columns: { ...gains } },
      };
    },
  },
  {
    name: 'Fading part: tau by profile with limits, T and P at it',
    wanted: 'no slower than optimize and uniroot over lmer',
    sizes: SIZES,
    prepare(patients) {
      const gains = invented(patients);
      return {
        ours: () => fitFadingPart(gains),
        r: { script: 'fading-part', columns: { ...gains } },
      };
    },
  },
  {
    name: 'Worth of a recall, of every patient',
    wanted: 'under 0.1 s for 10,000',
    sizes: SIZES,
    prepare(patients) {
      const { patient, gain, velocity } = invented(patients);
      const components = {
        betweenPatients: { lasting: 2.2, both: 0.1, passing: 0.16 },
        residualVariance: 0.5,
      };
      const sums = patientRows({ patient, gain }).map((rows) =>
        regressorSums(rows.map((row) => velocity[row] ?? NaN)),
      );
      const worthOfAll = () => {
        const total = totalInformation(sums, components);
        return sums.map((own) => worthOfRecall(total, own, 0.1, components));
      };
      return { ours: worthOfAll };
    },
  },
];
