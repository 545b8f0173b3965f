import { isUnchanged, mayRelease, mayReleaseByCentre, type CentreChange } from '@longhold/core/pooled';
import type { ChangesSince, ReleaseCentreRow, ReleaseRow } from '../store/pool-rows';
import type { StudyReader } from '../store/sync-store';
import type { CentreInPool, PoolSnapshot } from './snapshot';

/** Who may be given a new answer. */
export interface ReleaseDecision {
  readonly toMembers: boolean;
  /** Only with the members: what the coordinator sees of the pool must never differ from theirs by a few patients. */
  readonly toCoordinator: boolean;
}

const NOBODY: ReleaseDecision = { toMembers: false, toCoordinator: false };

/**
 * Whether a new answer may be released. Nobody may get at few patients by taking one answer from another: so what
 * changed since each earlier release is either nothing or enough, for each centre without its own changes. Since the
 * last one something must have changed, unless the definition did. The coordinator, who sees the centres, gets a new
 * answer only when in each centre nobody or enough changed since the coordinator's last.
 */
export async function decideRelease(reader: StudyReader, snapshot: PoolSnapshot): Promise<ReleaseDecision> {
  const { centres, definition, alike } = snapshot;
  const { smallestCell } = definition.parsed;
  const releases = await reader.releases();
  const [last] = releases;
  if (centres.length === 0) return NOBODY;
  if (last === undefined) {
    const enough = centres.reduce((sum, { patients }) => sum + patients, 0) >= smallestCell;
    return { toMembers: enough, toCoordinator: enough };
  }
  const history = new ReleaseHistory(reader, snapshot);
  const settled = { alike: false, other: false };
  for (const release of releases) {
    const kind = alike.includes(release.definition) ? 'alike' : 'other';
    if (settled[kind]) continue;
    const { changed, lasting } = await history.since(release);
    const nothing = isUnchanged(changed);
    if (release === last && nothing && release.definition === definition.version) return NOBODY;
    if (!nothing && !mayRelease(changed, smallestCell)) return NOBODY;
    settled[kind] = mayRelease(lasting, smallestCell) && !lasting.some(({ orMore }) => orMore);
  }
  const lastOfCoordinator = releases.find(({ toCoordinator }) => toCoordinator);
  const toCoordinator =
    lastOfCoordinator === undefined ||
    mayReleaseByCentre((await history.since(lastOfCoordinator)).changed, smallestCell);
  return { toMembers: true, toCoordinator };
}

interface Since {
  readonly changed: readonly CentreChange[];
  /** The part of it that cannot be fewer since an earlier release of the same kind. By the same centres. */
  readonly lasting: readonly CentreChange[];
}

/** What changed since earlier releases, which are asked for from the newest on. */
class ReleaseHistory {
  readonly #reader: StudyReader;
  readonly #snapshot: PoolSnapshot;
  /** Of the releases after the one asked for: the most that is known to have changed in a centre's statistics. */
  readonly #later = new Map<string, number>();
  readonly #known = new Map<number, Since>();

  constructor(reader: StudyReader, snapshot: PoolSnapshot) {
    this.#reader = reader;
    this.#snapshot = snapshot;
  }

  async since(release: ReleaseRow): Promise<Since> {
    const known = this.#known.get(release.number);
    if (known !== undefined) return known;
    const { alike, centres } = this.#snapshot;
    const then = await this.#reader.releaseCentres(release.number);
    const counted = alike.includes(release.definition) ? 'changed' : 'joined';
    const changes = await this.#reader.changesSince(release.number, counted);
    const changed: CentreChange[] = [];
    const lasting: CentreChange[] = [];
    for (const member of new Set([...then, ...centres].map((one) => one.member))) {
      const before = then.find((one) => one.member === member);
      const now = centres.find((one) => one.member === member);
      const change = this.#change(before, now, changes);
      changed.push(change.whole);
      lasting.push(change.lasting);
    }
    for (const { member, changedAtLeast } of then) {
      this.#later.set(member, Math.max(this.#later.get(member) ?? 0, changedAtLeast));
    }
    const since = { changed, lasting };
    this.#known.set(release.number, since);
    return since;
  }

  #change(
    before: ReleaseCentreRow | undefined,
    now: CentreInPool | undefined,
    { changed, withdrawn }: ChangesSince,
  ): { readonly whole: CentreChange; readonly lasting: CentreChange } {
    if (before === undefined || now === undefined || before.way !== now.way) {
      // All of its patients came or went.
      return {
        whole: { patients: (before?.patients ?? 0) + (now?.patients ?? 0), orMore: false },
        lasting: { patients: 0, orMore: false },
      };
    }
    if (now.way === 'records') {
      const came = changed.get(now.member) ?? 0;
      return {
        whole: { patients: came + (withdrawn.get(now.member) ?? 0), orMore: false },
        lasting: { patients: came, orMore: false },
      };
    }
    const isSame = before.sequence === now.sequence;
    const patients = isSame ? 0 : Math.max(now.changedAtLeast, this.#later.get(now.member) ?? 0);
    const change = { patients, orMore: !isSame };
    return { whole: change, lasting: { patients, orMore: false } };
  }
}
