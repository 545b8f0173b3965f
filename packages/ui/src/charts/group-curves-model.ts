import type { GroupSurvival } from '@longhold/core/answers';
import { formatCount, formatShare, formatShareLimits } from '../format';
import { type ChartModel, type Layer, patientShareAxis, sinceEndAxis } from './chart-model';
import type { ShapeName, Tone } from './shapes';

/** Line, dash and sign of each group; colour is never the only difference. */
const GROUP_SIGNS: readonly {
  readonly tone: Tone;
  readonly dash: readonly number[];
  readonly shape: ShapeName;
}[] = [
  { tone: 'answer', dash: [], shape: 'disc' },
  { tone: 'compare', dash: [9, 4], shape: 'square' },
  { tone: 'again', dash: [2, 4], shape: 'triangle' },
  { tone: 'held', dash: [12, 4, 2, 4], shape: 'diamond' },
  { tone: 'lost', dash: [5, 5], shape: 'block' },
  { tone: 'quiet', dash: [1, 3], shape: 'ring' },
];

/** Survival of the gain in each group, one line and one sign a group. */
export function groupCurvesModel(groups: readonly GroupSurvival[]): ChartModel {
  const shown = groups.slice(0, GROUP_SIGNS.length);
  const years = [
    ...new Set(shown.flatMap(({ atYears }) => atYears.filter(isKnown).map(({ year }) => year))),
  ].sort((a, b) => a - b);
  const last = Math.max(1, ...years);
  return {
    x: sinceEndAxis(last, 0.25),
    y: patientShareAxis('Gain still there'),
    layers: [...shown.flatMap((group, i) => linesOf(group, i)), ...namesOf(shown)],
    under: null,
    points: years.map((year) => ({
      x: year,
      text: `Year ${year}. ${shown.map((group) => readingOf(group, year)).join(' ')}`,
    })),
    key: shown.map(({ label, patients }, i) => {
      const { tone, shape } = signOf(i);
      return {
        kind: 'mark',
        tone,
        shape,
        dash: signOf(i).dash,
        label: `${label} (${formatCount(patients)} patients)`,
      };
    }),
  };
}

/** Line, dash and sign of the curve at a place; they come round again after the sixth. */
export function signOf(i: number): (typeof GROUP_SIGNS)[number] {
  return GROUP_SIGNS[i % GROUP_SIGNS.length] ?? { tone: 'ink', dash: [], shape: 'disc' };
}

/** Least distance between two names, as a share of the axis: the height of a line of words. */
const NAME_HEIGHT = 0.07;

/** Each group's name at the end of its curve, moved up where it would run into the name below it. */
function namesOf(groups: readonly GroupSurvival[]): Layer[] {
  const ends = groups
    .flatMap((group, i) => {
      const end = courseOf(group).at(-1);
      return end === undefined ? [] : [{ ...end, text: group.label, tone: signOf(i).tone }];
    })
    .sort((a, b) => a.survival - b.survival);
  const heights: number[] = [];
  for (const { survival } of ends) {
    heights.push(Math.max(survival, (heights.at(-1) ?? -Infinity) + NAME_HEIGHT));
  }
  return ends.map(({ time, survival, text, tone }, i) => ({
    kind: 'label',
    x: time,
    y: heights[i] ?? survival,
    text,
    tone,
  }));
}

function isKnown({ estimate }: GroupSurvival['atYears'][number]): boolean {
  return estimate !== null;
}

interface CurvePlace {
  readonly time: number;
  readonly survival: number;
}

function knownYears({ atYears }: GroupSurvival): CurvePlace[] {
  return atYears.flatMap(({ year, estimate }) =>
    estimate === null ? [] : [{ time: year, survival: estimate }],
  );
}

/** A group's curve from the end of active treatment to where it was followed. */
function courseOf(group: GroupSurvival): CurvePlace[] {
  return [{ time: 0, survival: 1 }, ...group.points, ...knownYears(group)].sort((a, b) => a.time - b.time);
}

function linesOf(group: GroupSurvival, i: number): Layer[] {
  const { tone, dash, shape } = signOf(i);
  const known = knownYears(group);
  const all = courseOf(group);
  return [
    {
      kind: 'line',
      x: all.map(({ time }) => time),
      y: all.map(({ survival }) => survival),
      tone,
      width: 2,
      ...(dash.length === 0 ? {} : { dash }),
    },
    ...known.map(({ time, survival }): Layer => ({ kind: 'mark', x: time, y: survival, shape, tone })),
  ];
}

function readingOf({ label, atYears }: GroupSurvival, year: number): string {
  const at = atYears.find((row) => row.year === year);
  if (at?.estimate == null) return `${label}: nobody followed so long.`;
  const limits = at.limits === null ? '' : ` (${formatShareLimits(at.limits)})`;
  return `${label}: ${formatShare(at.estimate)}${limits}, ${formatCount(at.atRisk)} at risk.`;
}
