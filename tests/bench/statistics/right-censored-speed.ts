import { createRandom } from '@longhold/core/numeric';
import { kaplanMeier, logRankTest } from '@longhold/core/survival';
import type { SpeedCase } from './speed-case';

/** Two groups, half of the rows censored; `days` rounds times to whole days, which ties most of them. */
function drawn(size: number, days: boolean): Record<'time' | 'event' | 'group', Float64Array> {
  const random = createRandom(size);
  const columns = {
    time: new Float64Array(size),
    event: new Float64Array(size),
    group: new Float64Array(size),
  };
  for (let i = 0; i < size; i++) {
    const group = random.integer(2);
    const event = random.exponential(0.1 * (1 + 0.05 * group));
    const censoring = random.exponential(0.1);
    const seen = Math.min(event, censoring);
    columns.time[i] = days ? Math.ceil(365.25 * seen) : seen;
    columns.event[i] = event <= censoring ? 1 : 0;
    columns.group[i] = group;
  }
  return columns;
}

function speedCases(times: string, days: boolean): SpeedCase[] {
  const sizes = [10_000, 100_000, 1_000_000];
  return [
    {
      name: `Kaplan-Meier curve, ${times}`,
      wanted: "no slower than R's survfit at 1,000,000",
      sizes,
      prepare(size) {
        const columns = drawn(size, days);
        return { ours: () => kaplanMeier(columns), r: { script: 'kaplan-meier', columns } };
      },
    },
    {
      name: `Log-rank test, ${times}`,
      wanted: "no slower than R's survdiff at 1,000,000",
      sizes,
      prepare(size) {
        const columns = drawn(size, days);
        return { ours: () => logRankTest(columns), r: { script: 'log-rank', columns } };
      },
    },
  ];
}

export const RIGHT_CENSORED_SPEED: readonly SpeedCase[] = [
  ...speedCases('times all different', false),
  ...speedCases('times in days', true),
];
