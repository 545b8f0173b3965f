import { createRandom } from '@longhold/core/numeric';
import { CLINICS, PROTOCOLS, type ProtocolCode } from './parameters';
import {
  RECALL_YEARS,
  simulateChild,
  simulateLosses,
  type LossTime,
  type SimulatedLosses,
} from './simulated-child';

/** Population values of Co-Gn under one protocol, or over all. Lengths in mm. */
export interface ExpectedOutcome {
  /** Share of the treated who have this protocol. */
  readonly weight: number;
  /** E[A(0)]. */
  readonly meanGainAtEnd: number;
  /** E[A(t)] and E[A(t)] / E[A(0)], with t as late or early as the yearly visits are made. */
  readonly retained: readonly { readonly year: number; readonly meanGain: number; readonly share: number }[];
  /** Share of patients whose gain is still above 75 % of A(0), among those with A(0) > 0. */
  readonly survival: {
    /** Of the gain of treatment, T + S v(age). */
    readonly gainOfTreatment: readonly SurvivalPoint[];
    /** Of that gain with the child's own growth, as adjustment by the mean curve would show it without error. */
    readonly adjustedGain: readonly SurvivalPoint[];
    /** The same among those whose measured A(0) exceeds zero by 1.96 of its SD. */
    readonly adjustedGainMeasurable: readonly SurvivalPoint[];
  };
  /** Share of patients whose measured A(0) exceeds zero by 1.96 of its SD. */
  readonly measurable: number;
}

export interface SurvivalPoint {
  readonly year: number;
  readonly survival: number;
}

export interface ExpectedOutcomes {
  readonly measure: 'Co-Gn';
  /** Simulated children behind these values; the same for every study. */
  readonly simulated: number;
  readonly overall: ExpectedOutcome;
  readonly byProtocol: Readonly<Record<ProtocolCode, ExpectedOutcome>>;
}

const SIMULATED = 20_000;
/** Any fixed number would do: these are properties of the model, not of one study. */
const SIMULATION_SEED = 20_260_630;
const SURVIVAL_YEARS = [1, 2, 3, 5] as const;

let remembered: ExpectedOutcomes | null = null;

/** The planted answers, averaged over a large cohort of which no visit is missed. Computed once. */
export function expectedOutcomes(): ExpectedOutcomes {
  remembered ??= simulate();
  return remembered;
}

/** What one protocol does to the simulated cohort. */
interface ProtocolRun {
  readonly protocol: ProtocolCode;
  readonly weight: number;
  readonly losses: SimulatedLosses[];
}

interface MeanVelocity {
  readonly atEnd: number;
  readonly atRecall: readonly number[];
}

function simulate(): ExpectedOutcomes {
  const random = createRandom(SIMULATION_SEED);
  const children = Array.from({ length: SIMULATED }, () => simulateChild(random));
  const average = (of: (child: (typeof children)[number]) => number): number =>
    children.reduce((sum, child) => sum + of(child), 0) / SIMULATED;
  const velocity = {
    atEnd: average((child) => child.velocityAtEnd),
    atRecall: RECALL_YEARS.map((_, index) => average((child) => child.velocityAtRecall[index] ?? 0)),
  };
  const run = (protocol: ProtocolCode): ProtocolRun => ({
    protocol,
    weight: protocolWeight(protocol),
    losses: children.map((child) => simulateLosses(child, protocol)),
  });
  const [plate, fixed, removable] = [run('PLATE'), run('FIXED'), run('REMOVABLE')];
  return {
    measure: 'Co-Gn',
    simulated: SIMULATED,
    overall: outcomeOf([plate, fixed, removable], velocity),
    byProtocol: {
      PLATE: outcomeOf([plate], velocity),
      FIXED: outcomeOf([fixed], velocity),
      REMOVABLE: outcomeOf([removable], velocity),
    },
  };
}

function protocolWeight(protocol: ProtocolCode): number {
  return CLINICS.reduce((sum, clinic) => sum + clinic.share * clinic.protocols[protocol], 0);
}

function outcomeOf(runs: readonly ProtocolRun[], velocity: MeanVelocity): ExpectedOutcome {
  const weight = runs.reduce((sum, run) => sum + run.weight, 0);
  /* E[A] = E[T] + E[S] E[v], because T and S are drawn without regard to sex and age. */
  const meanGain = (meanVelocity: number): number =>
    runs.reduce((sum, { protocol, weight: share }) => {
      const { lasting, forward } = PROTOCOLS[protocol];
      return sum + (share / weight) * (lasting.mean + forward.mean * meanVelocity);
    }, 0);
  const meanGainAtEnd = meanGain(velocity.atEnd);
  return {
    weight,
    meanGainAtEnd,
    retained: RECALL_YEARS.map((year, index) => {
      const gain = meanGain(velocity.atRecall[index] ?? 0);
      return { year, meanGain: gain, share: gain / meanGainAtEnd };
    }),
    survival: {
      gainOfTreatment: survivalOf(runs, (losses) => losses.gainOfTreatment),
      adjustedGain: survivalOf(runs, (losses) => losses.adjustedGain),
      adjustedGainMeasurable: survivalOf(runs, (losses) => losses.adjustedGainMeasurable),
    },
    measurable: shareOf(runs, (losses) => losses.adjustedGainMeasurable !== null) / weight,
  };
}

function survivalOf(
  runs: readonly ProtocolRun[],
  lossTime: (losses: SimulatedLosses) => LossTime | null,
): SurvivalPoint[] {
  const withGain = shareOf(runs, (losses) => lossTime(losses) !== null);
  return SURVIVAL_YEARS.map((year) => ({
    year,
    survival: shareOf(runs, (losses) => (lossTime(losses) ?? 0) > year) / withGain,
  }));
}

/** Share of all treated patients, over these protocols, to whom something applies. */
function shareOf(runs: readonly ProtocolRun[], applies: (losses: SimulatedLosses) => boolean): number {
  return runs.reduce(
    (sum, run) => sum + (run.weight * run.losses.filter(applies).length) / run.losses.length,
    0,
  );
}
