import { groupLabel, medianGain, type PreparedQuestion } from '../answers';
import { carriedDoubt, drawnLosses, type DoubtPart, type DrawnLosses } from '../answers/drawn-losses';
import type { PatientContrasts, PatientRisk } from '../answers/patient-outcome';
import type { StudyDefinition } from '../contribution/study-definition';
import { hiddenCells, isSmall } from './cells';
import { readerOf, type CentreReader, type ReadQuantities } from './centre-readings';
import { SHARED_DRAWS, type CentreDoubt, type Moves } from './centre-statistics';

/** Draws behind a covariance that is the centre's own: fewer where many patients make each of them cost more. */
function ownDrawsFor(patients: number): number {
  return Math.min(60, Math.max(20, Math.round(200_000 / Math.max(1, patients))));
}

/**
 * How a centre's curves move under drawn growth references and method errors. What is the centre's own (the curve of its
 * untreated children, its method error) leaves as a covariance. A table that all centres share is drawn from the
 * definition's seed, the same at every centre, and what each draw makes of the curves leaves, so that the pool can move all
 * centres at once. A curve of fewer patients than the smallest cell does not leave, and where fewer are followed it is
 * taken to move on as in the last year with enough.
 */
export function centreDoubt(
  outcomes: readonly PatientRisk[],
  contrasts: readonly PatientContrasts[],
  prepared: PreparedQuestion,
  definition: StudyDefinition,
): CentreDoubt {
  const carried = carriedDoubt(prepared);
  const isShared = prepared.reference.kind === 'imported-table';
  const known = (part: 'growthReference' | 'methodError'): boolean => carried[part] === 'carried';
  const ownParts: DoubtPart[] = [
    ...(known('methodError') ? ['method-error' as const] : []),
    ...(known('growthReference') && !isShared ? ['growth-reference' as const] : []),
  ];
  const ownDraws = ownParts.length === 0 ? 0 : ownDrawsFor(contrasts.length);
  const sharedDraws = known('growthReference') && isShared ? SHARED_DRAWS : 0;
  const reader = centreReader(outcomes, definition);
  const drawn =
    reader.years.length === 0
      ? null
      : drawnLosses(contrasts, prepared, [
          { parts: ownParts, draws: ownDraws },
          { parts: ['growth-reference'], draws: sharedDraws },
        ]);
  return { carried, ...movedQuantities(outcomes, drawn, ownDraws, reader, definition.years.length) };
}

const NOTHING = { survival: null, groups: [], scores: null, incidence: null };

/** Of the draws the first `ownDraws` are the centre's own, the others those that all centres share. */
function movedQuantities(
  outcomes: readonly PatientRisk[],
  drawn: DrawnLosses | null,
  ownDraws: number,
  reader: CentreReader,
  years: number,
): Omit<CentreDoubt, 'carried'> {
  if (drawn === null) return NOTHING;
  const inRiskSet = outcomes.flatMap(({ code, loss }) => (loss === null ? [] : [{ code, loss }]));
  const estimated = readerOf(
    inRiskSet.map(({ code }) => code),
    reader,
  )({
    left: inRiskSet.map(({ loss }) => loss.left),
    right: inRiskSet.map(({ loss }) => loss.right ?? Infinity),
  });
  if (estimated === null) return NOTHING;
  const read = readerOf(drawn.codes, reader);
  // A draw that leaves nobody in a curve says nothing of it; it stands as estimated, so that draws keep their places.
  const under = Array.from({ length: drawn.draws }, (_, draw) => read(drawn.times(draw)) ?? estimated);
  const readings = { own: under.slice(0, ownDraws), shared: under.slice(ownDraws) };
  const moves = (pick: (read: ReadQuantities) => readonly number[], size: number, digits: number): Moves => {
    const base = pick(estimated);
    const differences = (reads: readonly ReadQuantities[]): number[][] =>
      reads.map((read) => {
        const row = pick(read).map((value, i) => value - (base[i] ?? NaN));
        return Array.from({ length: size }, (_, i) => row[Math.min(i, row.length - 1)] ?? 0);
      });
    return {
      own: covarianceOf(differences(readings.own), size).map((value) => rounded(value, 2 * digits)),
      shared: differences(readings.shared).map((row) => row.map((value) => rounded(value, digits))),
    };
  };
  const ofCurve = (pick: (read: ReadQuantities) => readonly number[]): Moves =>
    moves(pick, years, CURVE_DIGITS);
  const labels = reader.groups.map(({ group }) => group);
  return {
    survival: ofCurve(({ survival }) => survival),
    groups: labels.map((group, g) => ({ group, survival: ofCurve(({ groups }) => groups[g] ?? []) })),
    scores:
      labels.length < 2
        ? null
        : { groups: labels, moves: moves(({ scores }) => scores, labels.length, SCORE_DIGITS) },
    incidence:
      reader.incidenceYears.length === 0
        ? null
        : {
            neither: ofCurve(({ neither }) => neither),
            lost: ofCurve(({ lost }) => lost),
            treatedAgain: ofCurve(({ treatedAgain }) => treatedAgain),
          },
  };
}

/** Decimals that leave of a share and of a sum of scores; of variances twice as many. */
const CURVE_DIGITS = 6;
const SCORE_DIGITS = 4;

function rounded(value: number, digits: number): number {
  const scale = 10 ** digits;
  return Math.round(value * scale) / scale + 0;
}

/** Covariance of columns over rows, upper triangle row by row; zeros for fewer than two rows. */
function covarianceOf(rows: readonly (readonly number[])[], size: number): number[] {
  const columns = Array.from({ length: size }, (_, i) => {
    const column = rows.map((row) => row[i] ?? NaN);
    const mean = column.reduce((sum, value) => sum + value, 0) / Math.max(1, rows.length);
    return column.map((value) => value - mean);
  });
  return columns.flatMap((first, i) =>
    columns.slice(i).map((second) => {
      const products = first.reduce((sum, value, row) => sum + value * (second[row] ?? NaN), 0);
      return products / Math.max(1, rows.length - 1);
    }),
  );
}

/** In whom and at which years enough are followed for a move to say nothing of single patients. */
function centreReader(
  outcomes: readonly PatientRisk[],
  { groupBy, years, smallestCell }: StudyDefinition,
): CentreReader {
  const inRiskSet = outcomes.filter(({ loss }) => loss !== null);
  const dividing = medianGain(inRiskSet);
  const groupOf = new Map(outcomes.map((one) => [one.code, groupLabel(one, groupBy, dividing)]));
  const rising = [...years].sort((a, b) => a - b);
  const enough = (followed: readonly number[]): number[] =>
    rising.filter((year) => followed.filter((until) => until >= year).length >= Math.max(1, smallestCell));
  const members = new Map<string | null, PatientRisk[]>();
  for (const outcome of inRiskSet) {
    const label = groupOf.get(outcome.code) ?? null;
    const known = members.get(label);
    if (known === undefined) members.set(label, [outcome]);
    else known.push(outcome);
  }
  return {
    years: enough(inRiskSet.map(followedUntil)),
    incidenceYears: enough(inRiskSet.map(endedAt)),
    groups: shownGroups(members, smallestCell)
      .map((group) => ({ group, years: enough((members.get(group) ?? []).map(followedUntil)) }))
      .filter((own) => own.years.length > 0),
    groupOf,
    treatedAgainAt: new Map(outcomes.map(({ code, treatedAgainAt }) => [code, treatedAgainAt])),
  };
}

/** Years to the visit that found the loss, else to the last one. */
function followedUntil({ loss }: PatientRisk): number {
  return loss === null ? 0 : (loss.right ?? loss.left);
}

function endedAt(outcome: PatientRisk): number {
  const { loss, treatedAgainAt } = outcome;
  return loss?.right == null && treatedAgainAt !== null && treatedAgainAt > 0
    ? treatedAgainAt
    : followedUntil(outcome);
}

/** Groups that are not small, and whose moves don't give away those of a small one by what is left of the whole. */
function shownGroups(
  members: ReadonlyMap<string | null, readonly PatientRisk[]>,
  smallestCell: number,
): string[] {
  const labels = [...members.keys()];
  const parts = labels.map((label) => [members.get(label)?.length ?? 0]);
  const whole = [parts.reduce((sum, [patients = 0]) => sum + patients, 0)];
  const places = parts.map((_, i) => i + 1);
  const hidden = hiddenCells(
    [whole, ...parts],
    [{ total: 0, parts: places }],
    ([patients = 0]) => !isSmall(patients, smallestCell),
    { unprinted: new Set(places.filter((place) => labels[place - 1] === null)) },
  );
  return labels.flatMap((label, i) => (label === null || hidden[i + 1] === true ? [] : [label])).sort();
}
