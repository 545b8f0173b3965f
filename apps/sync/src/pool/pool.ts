import type { Log } from '../http/log';
import type { ReleaseCentreRow, ReleaseViewRow } from '../store/pool-rows';
import type { StudyReader, StudyWriter, SyncStore } from '../store/sync-store';
import type { CentreTexts } from './compute';
import { ComputationFailed, type PoolComputer } from './computer';
import { costliestCentre, emptyCentre, reasonOf, worksWithoutOne } from './set-aside';
import { decideRelease, type ReleaseDecision } from './release-rule';
import { Snapshots, type CentreInPool, type PoolSnapshot } from './snapshot';

/** Records that are read at a time, so that other requests get at the store in between. */
const PAGE = 500;
/** How often it is begun anew because something changed on the way; then it waits for the next question. */
const MOST_TRIES = 3;
/** Milliseconds in which nothing comes in before statistics are made unasked, and the longest wait where it goes on. */
const QUIET = { least: 5_000, most: 60_000 };

/** How often the process may end before a centre is to blame: other programs may take the machine's memory, too. */
const MOST_ENDINGS = 2;

/** Something changed while an answer was made of it. */
class Moved extends Error {}

/**
 * Keeps the pooled answers up to date: makes statistics of those centres of which something changed, and releases a new
 * answer where the rules allow one. Any number of services may do so on one database.
 */
export class Pool {
  readonly #store: SyncStore;
  readonly #computer: PoolComputer;
  readonly #log: Log;
  #running: Promise<boolean> | null = null;
  /** The state of the study for which there is nothing to do. */
  #settledAt = '';
  #isStopped = false;
  readonly #snapshots = new Snapshots();
  readonly #quiet: typeof QUIET;
  #preparing: Promise<void> | null = null;
  #soon: NodeJS.Timeout | undefined;
  /** When the first of the changes came that are waiting to be prepared; null where none is. */
  #changedAt: number | null = null;

  constructor(store: SyncStore, computer: PoolComputer, log: Log, quiet = QUIET) {
    this.#store = store;
    this.#computer = computer;
    this.#log = log;
    this.#quiet = quiet;
  }

  /** To be called when something of a centre may have changed: once it is quiet its statistics are made, unasked. */
  prepareSoon(): void {
    if (this.#isStopped) return;
    const now = performance.now();
    this.#changedAt ??= now;
    const wait = Math.max(0, Math.min(this.#quiet.least, this.#changedAt + this.#quiet.most - now));
    clearTimeout(this.#soon);
    this.#soon = setTimeout(() => void this.prepare(), wait);
    this.#soon.unref();
  }

  /**
   * Makes the statistics of those centres of which something changed, one after the other, so that the next question
   * need not wait for them. Whoever asks meanwhile waits for one centre at most; nothing is released.
   */
  async prepare(): Promise<void> {
    clearTimeout(this.#soon);
    this.#changedAt = null;
    if (this.#running !== null || this.#isStopped) return;
    this.#preparing ??= this.#prepareAll().finally(() => (this.#preparing = null));
    await this.#preparing;
  }

  /**
   * Brings the answers up to date, or waits for whoever is at it already.
   * @returns false where it goes on for longer than that many milliseconds, or could not be done this time
   */
  async refresh(patience: number): Promise<boolean> {
    this.#running ??= this.#refresh().finally(() => (this.#running = null));
    const running = this.#running;
    let timer: NodeJS.Timeout | undefined;
    const tooLong = new Promise<false>((resolve) => {
      timer = setTimeout(() => resolve(false), patience);
    });
    const done = await Promise.race([running, tooLong]);
    clearTimeout(timer);
    return done;
  }

  /** What a pooled answer can be made of; null before the first definition. */
  snapshot(reader: StudyReader): Promise<PoolSnapshot | null> {
    return this.#snapshots.read(reader);
  }

  /** Ends whatever is being computed. */
  async stop(): Promise<void> {
    this.#isStopped = true;
    clearTimeout(this.#soon);
    await this.#computer.stop();
    await this.#running;
    await this.#preparing;
  }

  /** Faults are logged and not thrown: whoever asks is given the last answer. Returns whether all is up to date. */
  async #refresh(): Promise<boolean> {
    await this.#preparing;
    try {
      for (let tries = 1; tries <= MOST_TRIES;) {
        const outcome = await this.#releaseNewest();
        if (outcome === 'up-to-date') return true;
        // There are fewer centres each time, so that this ends.
        if (outcome === 'moved') tries++;
      }
    } catch (thrown) {
      this.#note(thrown);
    }
    return false;
  }

  async #prepareAll(): Promise<void> {
    try {
      const found = await this.#store.read(async (reader) => {
        const snapshot = await this.snapshot(reader);
        return snapshot === null ? null : { snapshot, stale: await staleCentres(reader, snapshot) };
      });
      if (found === null) return;
      for (const centre of found.stale) {
        // Whoever asks goes first, and may need none of these.
        if (this.#isStopped || this.#running !== null) return this.prepareSoon();
        await this.#makeOrSetAside(centre, found.snapshot);
      }
    } catch (thrown) {
      if (thrown instanceof Moved) this.prepareSoon();
      else this.#note(thrown);
    }
  }

  #note(thrown: unknown): void {
    if (this.#isStopped) return;
    this.#log.error('pooled answer', { fault: thrown instanceof Error ? thrown.name : 'unknown' });
  }

  /** Releases a new answer if there may be one. */
  async #releaseNewest(): Promise<'up-to-date' | 'moved' | 'set-aside'> {
    const found = await this.#store.read(async (reader) => {
      const state = await stateOf(reader);
      if (state === this.#settledAt) return null;
      const snapshot = await this.snapshot(reader);
      if (snapshot === null) return { state, snapshot: null };
      const decision = await decideRelease(reader, snapshot);
      return { state, snapshot, decision, stale: await staleCentres(reader, snapshot) };
    });
    if (found === null) return 'up-to-date';
    if (found.snapshot === null || !found.decision.toMembers) {
      this.#settledAt = found.state;
      return 'up-to-date';
    }
    const { snapshot, decision, stale } = found;
    try {
      for (const centre of stale) {
        if (!(await this.#makeOrSetAside(centre, snapshot))) return 'set-aside';
      }
      const fault = await this.#faultOf(snapshot, () => this.#release(snapshot, decision));
      if (fault === null) return 'up-to-date';
      await this.#setAside(await this.#culprit(snapshot, fault), fault);
      return 'set-aside';
    } catch (thrown) {
      if (thrown instanceof Moved) return 'moved';
      throw thrown;
    }
  }

  /** Makes a centre's statistics; false where nothing can be computed from what it sent, and it is set aside. */
  async #makeOrSetAside(centre: CentreInPool, snapshot: PoolSnapshot): Promise<boolean> {
    const fault = await this.#faultOf(snapshot, () => this.#makeStatistics(centre, snapshot));
    if (fault !== null) await this.#setAside(centre, fault);
    return fault === null;
  }

  /**
   * Does something that is computed. @returns how the computation failed with what the centres sent; null where it did
   * not. Where it fails with nothing, too, or the process ended once only, the centres are not to blame.
   * @throws whatever else went wrong
   */
  async #faultOf(snapshot: PoolSnapshot, work: () => Promise<void>): Promise<ComputationFailed | null> {
    for (let tries = 1; ; tries++) {
      try {
        await work();
        return null;
      } catch (thrown) {
        if (!(thrown instanceof ComputationFailed) || thrown.fault === 'stopped' || this.#isStopped)
          throw thrown;
        await this.#computer.centre([], emptyCentre(), snapshot.definition);
        if (thrown.fault !== 'ended' || tries === MOST_ENDINGS) return thrown;
      }
    }
  }

  /** The centre with which the pool cannot be computed. @throws ComputationFailed where none can be named */
  async #culprit(snapshot: PoolSnapshot, failed: ComputationFailed): Promise<CentreInPool> {
    const { centres, definition } = snapshot;
    const found =
      failed.fault === 'failed'
        ? await worksWithoutOne(centres, (rest) => this.#computer.pool(this.#kept(rest), definition))
        : await costliestCentre(centres, this.#kept(centres));
    if (found === null) throw failed;
    return found;
  }

  async #setAside(centre: CentreInPool, { fault }: ComputationFailed): Promise<void> {
    const { member, madeFrom } = centre;
    const reason = reasonOf(fault);
    await this.#store.write(async (writer) => {
      await writer.holdMember(member);
      await this.#requireUnmoved(writer, centre);
      await writer.putSetAside({ member, madeFrom, reason });
    });
    this.#log.error('centre set aside', { fault: reason });
  }

  async #makeStatistics(centre: CentreInPool, snapshot: PoolSnapshot): Promise<void> {
    const { member, madeFrom } = centre;
    const { definition } = snapshot;
    const { statistics, estimates } = await this.#textsOf(centre, snapshot);
    await this.#store.write(async (writer) => {
      await writer.holdMember(member);
      await this.#requireUnmoved(writer, centre);
      if ((await writer.definition())?.version !== definition.version) throw new Moved();
      await writer.putStatistics({ member, madeFrom, body: statistics, estimates });
    });
  }

  async #textsOf(
    centre: CentreInPool,
    { definition, alike }: PoolSnapshot,
  ): Promise<{ readonly statistics: string | null; readonly estimates: string }> {
    const { member, way } = centre;
    if (way === 'statistics') {
      const sent = await this.#store.read((reader) => reader.federatedOf(member));
      if (sent?.body == null || sent.sequence !== centre.sequence) throw new Moved();
      return { statistics: null, estimates: await this.#computer.estimates(sent.body, definition) };
    }
    const sheet = await this.#store.read((reader) => reader.sheetOf(member));
    if (sheet === null) throw new Moved();
    const records = new Map<string, string>();
    for (let after = 0; ;) {
      const page = await this.#store.read((reader) => reader.headsAfter(member, after, PAGE));
      for (const { pseudonym, definition: madeUnder, body } of page) {
        if (alike.includes(madeUnder)) records.set(pseudonym, body);
      }
      if (page.length < PAGE) break;
      after = page.at(-1)?.sequence ?? after;
    }
    return this.#computer.centre([...records.values()], sheet.body, definition);
  }

  async #release(snapshot: PoolSnapshot, decision: ReleaseDecision): Promise<void> {
    const { definition, centres, sequence } = snapshot;
    const texts = await this.#computer.pool(this.#kept(centres), definition);
    const views: ReleaseViewRow[] = [
      { viewer: 'reader', body: texts.reader },
      { viewer: 'centre', body: texts.centre },
      ...texts.own.map(({ centre, part }) => ({ viewer: centre, body: part })),
      ...(decision.toCoordinator ? [{ viewer: 'coordinator', body: texts.coordinator }] : []),
    ];
    await this.#store.write(async (writer) => {
      // The counter is the one row that all services must hold.
      await writer.takeSequences(0);
      await this.#requireStillAllowed(writer, snapshot, decision);
      const releases = await writer.releases();
      const number = (releases[0]?.number ?? 0) + 1;
      const { version } = definition;
      const { toCoordinator } = decision;
      await writer.insertRelease(
        { number, sequence, definition: version, toCoordinator },
        centres.map(({ member, way, sequence: own, patients, changedAtLeast }): ReleaseCentreRow => ({
          member,
          way,
          sequence: own,
          patients,
          changedAtLeast,
        })),
        views,
      );
      const forCoordinator = releases.find((release) => release.toCoordinator)?.number;
      await writer.dropViewsExcept([
        number,
        ...(toCoordinator || forCoordinator === undefined ? [] : [forCoordinator]),
      ]);
    });
  }

  /** The centres' statistics, each read by itself. */
  async *#kept(centres: readonly CentreInPool[]): AsyncGenerator<{ readonly centre: string } & CentreTexts> {
    for (const { member, madeFrom, way } of centres) {
      const texts = await this.#store.read(async (reader) => {
        const row = await reader.statisticsOf(member);
        if (row === null || row.madeFrom !== madeFrom) return null;
        const body = way === 'records' ? row.body : ((await reader.federatedOf(member))?.body ?? null);
        return body === null ? null : { statistics: body, estimates: row.estimates };
      });
      if (texts === null) throw new Moved();
      yield { centre: member, ...texts };
    }
  }

  async #requireUnmoved(reader: StudyReader, { member, madeFrom }: CentreInPool): Promise<void> {
    const now = await this.snapshot(reader);
    if (now?.centres.find((centre) => centre.member === member)?.madeFrom !== madeFrom) throw new Moved();
  }

  /** Nothing that came since may forbid the answer: another release, a withdrawal, another definition. */
  async #requireStillAllowed(
    writer: StudyWriter,
    snapshot: PoolSnapshot,
    decision: ReleaseDecision,
  ): Promise<void> {
    const now = await this.snapshot(writer);
    if (now === null || now.definition.version !== snapshot.definition.version) throw new Moved();
    const isSame = now.centres.every((centre, i) => centre.madeFrom === snapshot.centres[i]?.madeFrom);
    if (!isSame || now.centres.length !== snapshot.centres.length) throw new Moved();
    const again = await decideRelease(writer, now);
    if (again.toMembers !== decision.toMembers || again.toCoordinator !== decision.toCoordinator)
      throw new Moved();
  }
}

/** The centres whose statistics are to be made, or made anew. */
async function staleCentres(reader: StudyReader, { centres }: PoolSnapshot): Promise<CentreInPool[]> {
  const kept = await reader.statisticsKept();
  return centres.filter(({ member, madeFrom }) => kept.get(member) !== madeFrom);
}

/** Everything on which it depends whether there is something to do. */
async function stateOf(reader: StudyReader): Promise<string> {
  const { epoch, sequence } = await reader.study();
  const unheard = (await reader.unheardMembers()).size;
  return `${epoch} ${sequence} ${(await reader.definition())?.version ?? 0} ${unheard}`;
}
