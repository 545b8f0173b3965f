import { readFixture } from './fixture';

export type SeriesName = 'orthodont' | 'ramus' | 'unbalanced';
export type SexName = 'female' | 'male';

/** Values of a growth series, one row a visit, column by column. */
export interface SeriesColumns {
  readonly child: string[];
  readonly sex: SexName[];
  readonly age: number[];
  readonly value: number[];
}

/** Expected sizes at the fixture's ages, with standard errors. */
export interface ExpectedSizes {
  readonly value: number[];
  readonly standardError: number[];
}

/** One fitted model of r/growth.R. */
export interface GrowthFit {
  readonly name: SeriesName;
  readonly call: string;
  readonly degreesOfFreedom: number;
  readonly method: 'REML' | 'ML';
  readonly innerKnots: number[];
  readonly boundaryKnots: [number, number];
  readonly sexes: SexName[];
  readonly logLikelihood: number;
  readonly residualVariance: number;
  /** Of intercept and slope, age counted from birth. */
  readonly randomCovariance: [[number, number], [number, number]];
  readonly expected: { readonly ages: number[] } & Partial<Record<SexName, ExpectedSizes>>;
}

interface MeansAtAges {
  readonly ages: number[];
  readonly means: number[];
}
interface Slopes {
  readonly slopes: number[];
  readonly mean: number;
  readonly sd: number;
}

interface GrowthFixture {
  readonly series: Record<SeriesName, SeriesColumns>;
  readonly plain: {
    readonly orthodont: {
      readonly meansBySex: Record<SexName, MeansAtAges>;
      readonly female: Slopes;
      readonly male: Slopes;
    };
    readonly ramus: {
      readonly meansBySex: { readonly male: MeansAtAges };
      readonly male: Slopes;
      readonly annualised: { mean: number; sd: number; lowest: number; highest: number };
    };
  };
  /** Akaike's criterion by degrees of freedom, 1 first, and the number with the smallest. */
  readonly choice: Record<SeriesName, { readonly akaike: number[]; readonly chosen: number }>;
  readonly fits: GrowthFit[];
}

/** Source: nlme::lme, lme4::lmer, splines::ns and a plain-R maximum that both are held against; see r/growth.R. */
export const growthFixture = readFixture<GrowthFixture>('growth');
