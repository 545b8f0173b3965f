import type { FilmFactorEvidence } from '@longhold/core/records';

/** Mean and standard deviation of a normal distribution. */
export interface NormalSpread {
  readonly mean: number;
  readonly sd: number;
}

/** What one invented protocol does. Lengths in mm, times in years. */
export interface ProtocolModel {
  readonly description: string;
  /** T, the lasting part of the effect on Co-Gn, mm. */
  readonly lasting: NormalSpread;
  /** S, by how much growth is brought forward, years. */
  readonly forward: NormalSpread;
  /** Movement of the upper teeth backwards in the upper jaw and of the lower teeth forwards in the lower, mm. */
  readonly upperTeethBack: NormalSpread;
  readonly lowerTeethForward: NormalSpread;
  /** Share of patients whose upper jaw was widened; it has no effect of its own. */
  readonly expansion: number;
}

/** What lengths on a clinic's films are multiplied by to give natural size, and how that is known. */
export interface FilmSize {
  readonly filmFactor: number;
  readonly filmFactorEvidence: FilmFactorEvidence;
}
