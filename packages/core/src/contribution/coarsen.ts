import { maturityGroupOf, maturityStageSchema } from '../records';
import type { PooledRecord } from './pooled-record';
import { roundDays } from './round-days';
import type { StudyDefinition } from './study-definition';

/** Rules of coarsening, as a study group agrees on them. */
export type CoarseningRules = StudyDefinition['coarsening'];

/** What became less precise in one record. */
export interface RecordCoarsening {
  readonly pseudonym: string;
  /** Width of the band of months whose middle the age is. */
  readonly ageStepMonths: number;
  readonly maturity: 'as-recorded' | 'group-only' | 'removed';
  readonly expansion: 'as-recorded' | 'removed';
  readonly protocol: 'as-recorded' | 'removed';
  /** Patients of this clinic who share group, sex, age, protocol, expansion and maturity as they leave; this one too. */
  readonly groupSize: number;
}

/** Records as they may leave, and what was done to each. */
export interface Coarsened {
  /** In the order given. */
  readonly records: readonly PooledRecord[];
  /** Of each record that leaves, in the same order. */
  readonly coarsening: readonly RecordCoarsening[];
  /** Pseudonyms of those left out for want of enough others alike; empty under `keep`. */
  readonly tooFewAlike: readonly string[];
}

/** No age band is wider than this, months. */
const WIDEST_AGE_BAND = 24;

/** What about a record is shown with how much precision. */
interface Shown {
  readonly ageStepMonths: number;
  readonly ageMonths: number;
  readonly protocol: string | null;
  readonly expansion: boolean | null;
  readonly maturityStart: PooledRecord['maturityStart'];
}

/** Patients of whom the same is shown. */
interface Cell {
  readonly shown: Shown;
  readonly members: readonly PooledRecord[];
}

/** A member's values with one thing more precise than its cell shows; null where the record has no more to tell. */
type Refinement = (member: PooledRecord, shown: Shown) => Shown | null;

/**
 * Coarsens what could single a patient out (age, maturity, expansion, protocol) until at least `smallestGroup` of the
 * clinic share it, and rounds days. Age gives way first, up to bands of 24 months, then stage of maturity to its group,
 * then maturity, expansion and protocol to null. Sex never does, because expected growth needs it; nor whether a
 * patient was treated. Groups that stay small after all steps are kept or left out as the rules say.
 *
 * Local recoding, found from the coarse side. All of one group and sex in a band of 24 months are one cell. It is
 * divided by protocol; the parts that are too small, with those of no recorded protocol, stay together without one, and
 * where even these are too few, the smallest large part joins them. Each part is then divided in the same way by
 * expansion, group of maturity, stage, and halves of the age band, down to the first step. So a cell shows a value only
 * where enough share it, and those who don't show one are enough as well. One rare patient costs the neighbours a
 * little and the rest nothing; recoding a whole column at once (full-domain, as Samarati 2001 and Sweeney 2002 have it)
 * would cost everybody. Cells and ties are ordered by their values, so the order of records decides nothing.
 * Sources: Samarati 2001; Sweeney 2002 (k-anonymity); Fung, Wang and Yu 2005 (from the coarse side); from memory.
 *
 * @param records of one clinic, all of them, with ages in whole months and exact days
 */
export function coarsen(records: readonly PooledRecord[], rules: CoarseningRules): Coarsened {
  const steps = ageSteps(rules.ageStepMonths);
  const refinements: Refinement[] = [
    byProtocol,
    byExpansion,
    byMaturityGroup,
    byStage,
    ...steps.slice(1).map(byAge),
  ];
  const cells = coarsestCells(records, steps[0] ?? rules.ageStepMonths).flatMap((cell) =>
    refine(cell, refinements, rules.smallestGroup),
  );
  const shown = new Map(
    cells.flatMap((cell) => cell.members.map(({ pseudonym }) => [pseudonym, cell.shown])),
  );
  const all = records.flatMap((record) => {
    const values = shown.get(record.pseudonym);
    return values === undefined ? [] : [{ record, shown: values, leaves: withShown(record, values) }];
  });
  const sizes = groupSizes(all.map(({ leaves }) => leaves));
  const sizeOf = (record: PooledRecord): number => sizes.get(sharedValues(record)) ?? 0;
  const mayLeave = ({ leaves: record }: { readonly leaves: PooledRecord }): boolean =>
    rules.smallGroups === 'keep' || sizeOf(record) >= rules.smallestGroup;
  const leaving = all.filter(mayLeave);
  return {
    records: leaving.map(({ leaves }) => roundDays(leaves, rules.dayStep)),
    coarsening: leaving.map(({ record, shown: values, leaves }) => describe(record, values, sizeOf(leaves))),
    tooFewAlike: all.filter((one) => !mayLeave(one)).map(({ record }) => record.pseudonym),
  };
}

/** What others could know of a patient beside the follow-up itself, as one text: equal for patients who share it. */
export function sharedValues({
  group,
  sex,
  ageMonths,
  protocol,
  expansion,
  maturityStart,
}: PooledRecord): string {
  return JSON.stringify([group, sex, ageMonths, protocol, expansion, maturityStart]);
}

/** How many records share each combination of values, by `sharedValues`. */
export function groupSizes(records: readonly PooledRecord[]): Map<string, number> {
  const sizes = new Map<string, number>();
  for (const record of records) {
    const key = sharedValues(record);
    sizes.set(key, (sizes.get(key) ?? 0) + 1);
  }
  return sizes;
}

/** Widths of age bands, widest first: the first step doubled as long as it stays within 24 months. */
function ageSteps(first: number): number[] {
  const steps = [first];
  for (let step = 2 * first; step <= WIDEST_AGE_BAND; step *= 2) steps.unshift(step);
  return steps;
}

/** The middle, in whole months, of the band that an age lies in. Bands begin at 0, so each holds two of half its width. */
function bandMiddle(ageMonths: number, step: number): number {
  return step * Math.floor(ageMonths / step) + Math.floor(step / 2);
}

function coarsestCells(records: readonly PooledRecord[], step: number): Cell[] {
  const cells = new Map<string, { shown: Shown; members: PooledRecord[] }>();
  for (const record of records) {
    const shown: Shown = {
      ageStepMonths: step,
      ageMonths: bandMiddle(record.ageMonths, step),
      protocol: null,
      expansion: null,
      maturityStart: null,
    };
    const key = JSON.stringify([record.group, record.sex, shown.ageMonths]);
    const cell = cells.get(key);
    if (cell === undefined) cells.set(key, { shown, members: [record] });
    else cell.members.push(record);
  }
  return [...cells.values()];
}

const byProtocol: Refinement = ({ protocol }, shown) => (protocol === null ? null : { ...shown, protocol });

const byExpansion: Refinement = ({ expansion }, shown) =>
  expansion === null ? null : { ...shown, expansion };

const byMaturityGroup: Refinement = ({ maturityStart }, shown) => {
  const stage = maturityStageSchema.safeParse(maturityStart);
  if (stage.success) return { ...shown, maturityStart: maturityGroupOf(stage.data) };
  return maturityStart === null ? null : { ...shown, maturityStart };
};

const byStage: Refinement = ({ maturityStart }, shown) =>
  shown.maturityStart === null || maturityStart === shown.maturityStart ? null : { ...shown, maturityStart };

function byAge(step: number): Refinement {
  return ({ ageMonths }, shown) => ({
    ...shown,
    ageStepMonths: step,
    ageMonths: bandMiddle(ageMonths, step),
  });
}

/** Divides a cell by each refinement in turn, as far as no part is smaller than `smallest`. */
function refine(cell: Cell, [first, ...later]: readonly Refinement[], smallest: number): Cell[] {
  if (first === undefined) return [cell];
  return divide(cell, first, smallest).flatMap((part) => refine(part, later, smallest));
}

/** The parts of a cell that are large enough, and the rest as one part that shows no more than the cell does. */
function divide(cell: Cell, refinement: Refinement, smallest: number): Cell[] {
  const parts = new Map<string, { key: string; shown: Shown; members: PooledRecord[] }>();
  const rest: PooledRecord[] = [];
  for (const member of cell.members) {
    const shown = refinement(member, cell.shown);
    if (shown === null) {
      rest.push(member);
      continue;
    }
    const key = JSON.stringify(Object.values(shown));
    const part = parts.get(key);
    if (part === undefined) parts.set(key, { key, shown, members: [member] });
    else part.members.push(member);
  }
  const bySize = [...parts.values()].sort(
    (a, b) => a.members.length - b.members.length || (a.key < b.key ? -1 : 1),
  );
  const tooSmall = (): boolean => {
    const next = bySize[0];
    if (next === undefined) return false;
    return next.members.length < smallest || (rest.length > 0 && rest.length < smallest);
  };
  while (tooSmall()) rest.push(...(bySize.shift()?.members ?? []));
  return rest.length === 0 ? bySize : [...bySize, { shown: cell.shown, members: rest }];
}

function withShown(
  record: PooledRecord,
  { ageMonths, protocol, expansion, maturityStart }: Shown,
): PooledRecord {
  return { ...record, ageMonths, protocol, expansion, maturityStart };
}

function describe(record: PooledRecord, shown: Shown, groupSize: number): RecordCoarsening {
  const removed = (exact: unknown, left: unknown): 'as-recorded' | 'removed' =>
    exact !== null && left === null ? 'removed' : 'as-recorded';
  const maturity = removed(record.maturityStart, shown.maturityStart);
  return {
    pseudonym: record.pseudonym,
    ageStepMonths: shown.ageStepMonths,
    maturity:
      maturity === 'as-recorded' && shown.maturityStart !== record.maturityStart ? 'group-only' : maturity,
    expansion: removed(record.expansion, shown.expansion),
    protocol: removed(record.protocol, shown.protocol),
    groupSize,
  };
}
