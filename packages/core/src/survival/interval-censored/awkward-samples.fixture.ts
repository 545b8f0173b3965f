import { createRandom, type RandomStream } from '../../numeric';
import type { IntervalTimes } from './interval-times';

type Entry = readonly [left: number, right: number];

/** Ways in which interval-censored times come, most of them hard for an optimiser. */
const KINDS: Readonly<Record<string, (random: RandomStream) => Entry>> = {
  'two visits at continuous times': (random) => {
    const time = random.exponential(0.3);
    const first = 5 * random.uniform();
    const second = first + 5 * random.uniform();
    if (time <= first) return [0, first];
    return time <= second ? [first, second] : [second, Infinity];
  },
  'one visit': (random) => {
    const visit = 8 * random.uniform();
    return random.exponential(0.3) <= visit ? [0, visit] : [visit, Infinity];
  },
  'half exact, half in long intervals': (random) => {
    const time = random.exponential(0.3);
    if (random.uniform() < 0.5) return [time, time];
    return [random.uniform() * time, random.uniform() < 0.3 ? Infinity : time + 3 * random.uniform()];
  },
  'whole numbers with ties': (random) => {
    const left = random.integer(10);
    return [left, random.uniform() < 0.2 ? Infinity : left + random.integer(6)];
  },
  'right-censored': (random) => {
    const time = random.exponential(0.3);
    const end = random.exponential(0.3);
    return time <= end ? [time, time] : [end, Infinity];
  },
  'widths over many orders of size': (random) => {
    const left = Math.exp(3 * random.normal());
    return [left, random.uniform() < 0.3 ? Infinity : left + Math.exp(2 * random.normal())];
  },
};

export const KIND_NAMES = Object.keys(KINDS);

/** An invented sample of one kind, the same for the same seed. */
export function awkwardSample(kind: string, size: number, seed: number): IntervalTimes {
  const random = createRandom(seed);
  const entries = Array.from({ length: size }, (): Entry => KINDS[kind]?.(random) ?? [0, Infinity]);
  return { left: entries.map(([left]) => left), right: entries.map(([, right]) => right) };
}
