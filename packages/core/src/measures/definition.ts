import { z } from 'zod';

/** Millimetres, or degrees. */
export const unitSchema = z.enum(['mm', 'deg']);
export type Unit = z.infer<typeof unitSchema>;

/** A code of the catalogue, such as `Co-Gn` or `SNB`. Membership is checked against the catalogue itself. */
export const measureCodeSchema = z.string().regex(/^[A-Za-z0-9][A-Za-z0-9-]{0,19}$/, 'a measure code');

/** How far a figure of the trade can be relied on, and where it comes from. */
export interface Provenance {
  readonly kind: 'published' | 'from memory' | 'common practice, no source';
  readonly text: string;
}

/** What the catalogue says of one measure. */
export interface MeasureDefinition {
  readonly code: string;
  readonly name: string;
  /** How it is measured, in one sentence. */
  readonly definition: string;
  readonly unit: Unit;
  readonly kind: 'skeletal length' | 'skeletal angle' | 'dental' | 'sagittal-occlusal distance' | 'height';
  /** +1: a larger value is the favourable direction for a set-back lower jaw; -1: a smaller one. */
  readonly direction: 1 | -1;
  /** Whether an untreated child's value changes enough with age that the change must be subtracted. */
  readonly grows: boolean;
  /**
   * Whether a recorded value is a length on a film, which enlarges it: it must be multiplied by the film's factor to
   * give natural size. Angles are not enlarged, and overjet, overbite and molar relation are read at the chair or on
   * casts.
   */
  readonly enlarged: boolean;
  /** Whether it is read on a radiograph; overjet, overbite and molar relation are read at the chair or on casts. */
  readonly onFilm: boolean;
  /** Values outside this range are refused on import as slips of the pen or of the unit. */
  readonly plausible: readonly [low: number, high: number];
  /** Standard deviations used until the clinic has repeated readings of its own. */
  readonly defaultError: {
    /** Of retracing one film (of reading again what is read at the chair). */
    readonly sd: number;
    readonly provenance: Provenance;
    /** Between two films of one child, over and above retracing; null where nothing is published. */
    readonly betweenFilms: { readonly sd: number; readonly provenance: Provenance } | null;
  };
}
