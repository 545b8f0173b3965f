import type { StudyDefinition } from '@longhold/core/contribution';
import { memberView, pooledAnswer, type PooledAnswer, type Viewer } from '@longhold/core/pooled';
import {
  centreOf,
  inventedDefinition,
  inventedRecords,
} from '../../../../../packages/core/src/pooled/invented-centres.fixture';
import type { PoolBeside } from '../../pooling/pool-beside';

/** Ids of invented centres, as a service would draw them. */
export const CENTRES = [1, 2, 3, 4, 5].map((i) => `${i}a1b2c3d-1111-4222-8333-00000000000${i}`);
const SIZES = [60, 40, 50, 18, 90];

/** A pool of five invented centres of unequal size, under a definition whose growth table is uncertain. */
export function inventedPool(changes: Partial<StudyDefinition> = {}): {
  readonly definition: StudyDefinition;
  readonly pooled: PooledAnswer;
} {
  const definition = inventedDefinition({ years: [1, 2, 3, 5], smallestCell: 10, ...changes }, 'sure');
  const centres = CENTRES.map((id, i) =>
    centreOf(
      id,
      inventedRecords({ patients: SIZES[i] ?? 0, seed: 100 + i, lasting: 2 + 0.2 * i }),
      definition,
    ),
  );
  return { definition, pooled: pooledAnswer(centres, definition, 1) };
}

type Released = Extract<PoolBeside, { readonly kind: 'released' }>;

/** What the service would tell a viewer of it. */
export function besideOf(
  { definition, pooled }: ReturnType<typeof inventedPool>,
  viewer: Viewer,
  newer = false,
): Released {
  return {
    kind: 'released',
    role: viewer.kind,
    ownCentre: viewer.kind === 'centre' ? viewer.centre : null,
    definition,
    released: {
      kind: 'released',
      epoch: '0a1b2c3d-1111-4222-8333-0000000000ff',
      release: 3,
      definition: 1,
      centres: CENTRES.length,
      patients: { from: 258, to: 258 },
      newer,
      view: memberView(pooled, viewer, definition),
      numbers: viewer.kind === 'reader' ? [] : CENTRES.map((centre, i) => ({ centre, number: i + 1 })),
      setAside: [],
    },
  };
}
