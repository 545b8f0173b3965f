import { randomUUID } from 'node:crypto';
import type { Study } from '@longhold/core/records';
import { HostFailure } from '../failure';
import type { Sending } from '../store';
import type { PoolingProgress, SendingPlan, StatisticsPreview, StatisticsRows } from './answers';
import { linkIn, previewChanged } from './desk-failures';
import type { Exchanges } from './exchanges';
import type { Maker } from './maker';
import type { StatisticsPage } from './making';
import type { PoolingMemory } from './pooling-memory';
import { pseudonymOf } from './pseudonyms';
import { secretOf } from './secret-of';
import { sendingChanged, sendingPlan } from './sending-changes';
import { confirmedStatistics, statisticsTakenOut } from './statistics-changes';
import { obstacleWords } from './statistics-preview';

/** What the choice between records and statistics needs, and the sending of statistics. */
export interface SendingGiven {
  readonly memory: PoolingMemory;
  readonly maker: Maker;
  readonly exchanges: Exchanges;
  readonly study: () => Promise<Study>;
  readonly now: () => Date;
}

/** What a clinic sends, records or statistics, and all that is done with statistics. */
export class SendingDesk {
  readonly #given: SendingGiven;

  constructor(given: SendingGiven) {
    this.#given = given;
  }

  /** @throws HostFailure not-linked, invalid-input where the member contributes nothing */
  async plan(to: Sending): Promise<SendingPlan> {
    const book = await this.#given.memory.read();
    requireCentre(linkIn(book).role);
    return sendingPlan(book, to);
  }

  /** Changes over as the plan of that digest says, and has the service take out what goes first. */
  async change({ to, digest }: { readonly to: Sending; readonly digest: string }): Promise<PoolingProgress> {
    const { memory, exchanges, now, study } = this.#given;
    const codes = await this.#codes(await study());
    return exchanges.start(async () => {
      const at = now().toISOString();
      const codeOf = (pseudonym: string): string | null => codes.get(pseudonym) ?? null;
      await memory.change((book) => {
        requireCentre(linkIn(book).role);
        const plan = sendingPlan(book, to);
        if (plan.refused !== null) throw new HostFailure('sending-refused', plan.refused);
        if (plan.digest !== digest) throw previewChanged();
        return sendingChanged(book, to, { at, newKey: randomUUID, codeOf });
      });
    });
  }

  preview(): Promise<StatisticsPreview | null> {
    return this.#given.maker.statisticsPreview();
  }

  async rows(page: StatisticsPage): Promise<StatisticsRows> {
    const rows = await this.#given.maker.statisticsRows(page);
    if (rows === null) throw previewChanged();
    return rows;
  }

  /** The statistics of the preview of that digest, whole, as JSON. */
  async text(digest: string): Promise<string> {
    const text = await this.#given.maker.statisticsText(digest);
    if (text === null) throw previewChanged();
    return text;
  }

  /**
   * Starts sending what the preview of that digest shows.
   * @param inPlaceOf the statistics of another desktop that these are to replace; null where there are none
   */
  async send({
    digest,
    inPlaceOf,
  }: {
    readonly digest: string;
    readonly inPlaceOf: string | null;
  }): Promise<PoolingProgress> {
    const { memory, maker, exchanges } = this.#given;
    return exchanges.start(async () => {
      requireSending((await memory.read()).link.get('link')?.sends ?? null, 'statistics');
      const made = await maker.statistics();
      if (made?.digest !== digest) throw previewChanged();
      if (made.obstacle !== null) throw new HostFailure('sending-refused', obstacleWords(made.obstacle));
      if (made.isOthers && made.replaces !== inPlaceOf) throw othersStatistics(made.replaces);
      await memory.change((book) => {
        const link = linkIn(book);
        requireSending(link.sends, 'statistics');
        if (link.statistics !== made.replaces) throw previewChanged();
        return confirmedStatistics(book, made, randomUUID);
      });
    });
  }

  /** Takes the clinic's statistics out of the pool; they are named so that none go that were not shown. */
  async takeOut(held: string): Promise<PoolingProgress> {
    const { memory, exchanges } = this.#given;
    return exchanges.start(async () => {
      await memory.change((book) => {
        const { statistics, sends } = linkIn(book);
        requireSending(sends, 'statistics');
        if (statistics !== held) throw previewChanged();
        return statisticsTakenOut(book, randomUUID);
      });
    });
  }

  async #codes(study: Study): Promise<ReadonlyMap<string, string>> {
    const secret = secretOf(await this.#given.memory.read());
    if (secret === null) return new Map();
    return new Map(study.map(({ patient: { code } }) => [pseudonymOf(secret, code), code]));
  }
}

/** @throws HostFailure where the clinic has not chosen this way of sending */
export function requireSending(chosen: Sending | null, wanted: Sending): void {
  if (chosen === wanted) return;
  throw new HostFailure(
    'sending-refused',
    chosen === null
      ? 'Choose first whether your clinic sends records or statistics only. Nothing was sent.'
      : `Your clinic has chosen to send ${chosen === 'statistics' ? 'statistics only' : 'records'}. Nothing was sent; change over first if it is to send ${wanted === 'statistics' ? 'statistics only' : 'records'}.`,
  );
}

function requireCentre(role: string): void {
  if (role === 'centre') return;
  throw new HostFailure('invalid-input', 'Only a clinic contributes records or statistics.');
}

function othersStatistics(held: string | null): HostFailure {
  return new HostFailure(
    'sending-refused',
    `Another desktop of your clinic sent other statistics (${held ?? ''}). Nothing was sent. Both desktops should hold the same records; if those of this one are the right ones, send them in place of the others.`,
  );
}
