import { groupLabels } from '../answers';
import type { StudyDefinition } from '../contribution/study-definition';
import { SHARED_DRAWS, type MeasureStatistics, type Moves } from './centre-statistics';
import { ownCovariance, ownVariance } from './curve-moves';
import type { FaultList } from './statistics-fault';

/** Covariances leave rounded; by so much they may pass what variances allow. */
const ROUNDING = 1e-9;
/** A patient's score in the score test is of the order of 1; no centre's scores move by more than this for each patient. */
const LARGEST_SCORE = 100;

/** What in a centre's moves no records can give: other years, groups or draws than the study's, and moves too large. */
export function impossibleDoubt(
  { doubt, reference, losses }: MeasureStatistics,
  definition: StudyDefinition,
  faults: FaultList,
): void {
  if (doubt === undefined) return;
  const { survival, groups, scores, incidence } = doubt;
  const years = definition.years.length;
  const isShared = reference.kind === 'common';
  const patients = losses.reduce((sum, row) => sum + row.patients, 0);
  const curve = (moves: Moves, path: string): void =>
    impossibleMoves(moves, years, 1, isShared, faults.within(path));
  if (survival !== null) curve(survival, 'survival');
  groups.forEach((own, g) => curve(own.survival, `groups.${g}.survival`));
  if (incidence !== null) {
    curve(incidence.neither, 'incidence.neither');
    curve(incidence.lost, 'incidence.lost');
    curve(incidence.treatedAgain, 'incidence.treatedAgain');
  }
  const labels = new Set(groupLabels(definition.groupBy, definition.protocols));
  const named = [groups.map(({ group }) => group), scores?.groups ?? []];
  faults.unless(
    named.every((list) => list.every((group) => labels.has(group)) && new Set(list).size === list.length),
    'groups',
    "groups as the study definition's grouping writes them, each once",
  );
  if (scores !== null)
    impossibleMoves(
      scores.moves,
      scores.groups.length,
      LARGEST_SCORE * patients,
      isShared,
      faults.within('scores.moves'),
    );
}

function impossibleMoves(
  moves: Moves,
  quantities: number,
  largest: number,
  isShared: boolean,
  faults: FaultList,
): void {
  const places = Array.from({ length: quantities }, (_, place) => place);
  faults.unless(
    moves.own.length === (quantities * (quantities + 1)) / 2 &&
      places.every((a) => ownVariance(moves, a) <= largest ** 2) &&
      places.every((a) =>
        places.every(
          (b) =>
            ownCovariance(moves, a, b) ** 2 <=
            (ownCovariance(moves, a, a) + ROUNDING) * (ownCovariance(moves, b, b) + ROUNDING),
        ),
      ),
    'own',
    "the triangle of a covariance of the definition's years, or of the groups",
  );
  faults.unless(
    moves.shared.length === (isShared ? moves.shared.length && SHARED_DRAWS : 0) &&
      moves.shared.every(
        (draw) => draw.length === quantities && draw.every((move) => Math.abs(move) <= largest),
      ),
    'shared',
    `none, or for a table that all centres share ${SHARED_DRAWS} draws of each year or group`,
  );
}
