import { splitChinPosition, splitMolarRelation, splitOverjet, type CorrectionParts } from '../measures';
import { lacksFilmFactor, visitValue, type Visit } from '../records';
import type { SplitLeftOut } from './gave-way-answer';

/** Lengths at natural size that the splits are made of. */
export const POINTS = [
  'ss-OLp',
  'pg-OLp',
  'is-OLp',
  'ii-OLp',
  'ms-OLp',
  'mi-OLp',
  'co-OLp',
  'Co-Gn',
] as const;
export type Point = (typeof POINTS)[number];

/** The points of one visit. A point that cannot be used is not in `values`; `unsized` says whose factor is not known. */
export interface FilmPoints {
  readonly values: ReadonlyMap<Point, number>;
  readonly unsized: ReadonlySet<Point>;
}

/** Reads visits' points, each visit once, however many splits ask for it. */
export function pointReader(): (visit: Visit) => FilmPoints {
  const known = new Map<Visit, FilmPoints>();
  return (visit) => {
    let points = known.get(visit);
    if (points === undefined) {
      points = readPoints(visit);
      known.set(visit, points);
    }
    return points;
  };
}

function readPoints(visit: Visit): FilmPoints {
  const values = new Map<Point, number>();
  const unsized = new Set<Point>();
  for (const point of POINTS) {
    const read = visitValue(visit, point);
    if (read !== null) values.set(point, read.value);
    else if (lacksFilmFactor(visit, point)) unsized.add(point);
  }
  return { values, unsized };
}

/** One way to split a change. */
export interface Split {
  /** The whole first. */
  readonly names: readonly string[];
  /** Places of the skeletal parts; empty where no share is given. */
  readonly skeletal: readonly number[];
  /** The parts between two visits in the order of `names`, or why they cannot be told. */
  readonly between: (before: FilmPoints, after: FilmPoints) => readonly number[] | SplitLeftOut;
}

const JAWS_AND_TEETH = [
  'Upper jaw back',
  'Lower jaw forward',
  'Upper teeth back in their jaw',
  'Lower teeth forward in their jaw',
];

/** The splits of what was corrected. Sources: Pancherz 1982; the chin's position by geometry (methods page). */
export const SPLITS: Readonly<Record<'overjet' | 'molar' | 'chin' | 'turn', Split>> = {
  overjet: {
    names: ['Overjet corrected', ...JAWS_AND_TEETH],
    skeletal: [1, 2],
    between: correction(splitOverjet, ['ss-OLp', 'pg-OLp', 'is-OLp', 'ii-OLp']),
  },
  molar: {
    names: ['Molar relation corrected', ...JAWS_AND_TEETH],
    skeletal: [1, 2],
    between: correction(splitMolarRelation, ['ss-OLp', 'pg-OLp', 'ms-OLp', 'mi-OLp']),
  },
  chin: {
    names: ['Chin forward', 'Lower jaw longer', 'Lower jaw turned forward', 'Condyle forward'],
    skeletal: [],
    between: chin(({ whole, length, rotation, hinge }) => [whole, length, rotation, hinge]),
  },
  turn: {
    names: ['Lower jaw turned'],
    skeletal: [],
    between: chin(({ degrees }) => [degrees]),
  },
};

type OcclusalPoints = Parameters<typeof splitOverjet>[0];

/** A split that needs some of the points only; the others may be missing. */
function correction(
  split: (before: OcclusalPoints, after: OcclusalPoints) => CorrectionParts,
  needed: readonly Point[],
): Split['between'] {
  return (before, after) => {
    const missing = whyMissing(before, needed) ?? whyMissing(after, needed);
    if (missing !== null) return missing;
    const { whole, upperJaw, lowerJaw, upperTeeth, lowerTeeth } = split(
      occlusalPoints(before),
      occlusalPoints(after),
    );
    return [whole, upperJaw, lowerJaw, upperTeeth, lowerTeeth];
  };
}

function chin(
  parts: (split: NonNullable<ReturnType<typeof splitChinPosition>>) => number[],
): Split['between'] {
  const needed: readonly Point[] = ['pg-OLp', 'co-OLp', 'Co-Gn'];
  return (before, after) => {
    const missing = whyMissing(before, needed) ?? whyMissing(after, needed);
    if (missing !== null) return missing;
    const split = splitChinPosition(chinReading(before), chinReading(after));
    return split === null ? 'impossible-points' : parts(split);
  };
}

/** A point that was never read weighs more than a factor that is not known: no factor would help then. */
function whyMissing({ values, unsized }: FilmPoints, needed: readonly Point[]): SplitLeftOut | null {
  const missing = needed.filter((point) => !values.has(point));
  if (missing.length === 0) return null;
  return missing.every((point) => unsized.has(point)) ? 'film-factor-unknown' : 'points-missing';
}

function occlusalPoints({ values }: FilmPoints): OcclusalPoints {
  const at = (point: Point): number => values.get(point) ?? NaN;
  return {
    ss: at('ss-OLp'),
    pg: at('pg-OLp'),
    is: at('is-OLp'),
    ii: at('ii-OLp'),
    ms: at('ms-OLp'),
    mi: at('mi-OLp'),
  };
}

function chinReading({ values }: FilmPoints): Parameters<typeof splitChinPosition>[0] {
  const at = (point: Point): number => values.get(point) ?? NaN;
  return { chin: at('pg-OLp'), hinge: at('co-OLp'), length: at('Co-Gn') };
}
