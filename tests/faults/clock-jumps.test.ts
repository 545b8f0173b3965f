import { randomUUID } from 'node:crypto';
import type { OpenStudy } from '@longhold/desktop/host/open-study';
import { temporaryFolder } from '@longhold/desktop/host/store/store.fixture';
import { afterAll, afterEach, beforeEach, describe, expect, it } from 'vitest';
import {
  changeFirst,
  check,
  poolInProcess,
  sendShown,
  shownRecords,
  type PoolInProcess,
} from '../pooling/pool-in-process';
import { longer, withoutConsent } from './programs/pool-patients';

const folder = temporaryFolder(afterAll);
const NOW = new Date('2026-03-10T10:00:00Z');
/** Years by which the clocks are off, one pair after another: the service's, and the clinic's. */
const JUMPS: readonly (readonly [number, number])[] = [
  [0, 0],
  [30, 1],
  [-8, 3],
  [1, 2],
  [0, 8],
  [-15, 1],
  [12, 20],
  [0, 0],
];

let pool: PoolInProcess;
let clock = NOW;

beforeEach(async () => {
  pool = await poolInProcess(folder);
  setClocks(0, 0);
});
afterEach(() => pool.close());

/** Sets the service's clock and the clinic's by whole years. */
function setClocks(ofService: number, ofClinic: number): void {
  pool.service.setClock(jumped(ofService));
  clock = jumped(ofClinic);
}

function jumped(years: number): Date {
  const moved = new Date(NOW);
  moved.setUTCFullYear(NOW.getUTCFullYear() + years);
  return moved;
}

const linkedClinic = (): Promise<OpenStudy> => pool.linkedClinic(12, () => clock);

async function send(open: OpenStudy): Promise<void> {
  expect(await sendShown(open)).toBe('done');
}

async function held(): Promise<readonly string[]> {
  return (await pool.held()).records;
}

async function tokenOf({ store }: OpenStudy): Promise<string | undefined> {
  return (await store.readPooling()).book.link.get('link')?.token;
}

describe('An enrolment code', () => {
  it.each([
    ['a moment before seven days are over', 7 * 86_400_000 - 1, null],
    ['when seven days are over', 7 * 86_400_000, 'code-expired'],
    ['years later', 20 * 365 * 86_400_000, 'code-expired'],
    ['with the clock set years back', -9 * 365 * 86_400_000, null],
  ])('%s by the service’s clock is answered as documented', async (_when, later, reason) => {
    const code = await pool.newCode();
    pool.service.setClock(new Date(NOW.getTime() + later));
    expect((await pool.service.ask('enrol', { code })).reason).toBe(reason);
  });

  it('that expired while the clock was wrong works once the clock is right, and only once', async () => {
    const code = await pool.newCode();
    setClocks(30, 0);
    expect((await pool.service.ask('enrol', { code })).reason).toBe('code-expired');
    setClocks(0, 0);
    expect((await pool.service.ask('enrol', { code })).reason).toBeNull();
    expect((await pool.service.ask('enrol', { code })).reason).toBe('code-used');
  });
});

describe('With the clocks of service and clinic set years ahead and back', () => {
  it('all is sent, changed and withdrawn as with steady ones, and tokens are replaced without locking anyone out', async () => {
    const open = await linkedClinic();
    let withdrawn = 0;
    const tokens = new Set<string | undefined>();
    for (const [index, [ofService, ofClinic]] of JUMPS.entries()) {
      setClocks(ofService, ofClinic);
      await changeFirst(open, 5, longer);
      if (index % 2 === 1) {
        await changeFirst(open, 1, withoutConsent);
        withdrawn++;
      }
      await send(open);
      const there = await held();
      expect(there.length).toBeGreaterThan(5);
      expect(there).toEqual(await shownRecords(open));
      expect((await pool.held()).withdrawn).toBe(withdrawn);
      tokens.add(await tokenOf(open));
    }
    expect(await open.pooling.withdrawals()).toHaveLength(withdrawn);
    // Each jump of the clinic's clock makes the token too old, or one of the future.
    expect(tokens.size).toBe(JUMPS.length);
  });

  it('nothing is sent that was not shown: years that seem to have passed are a change to be confirmed', async () => {
    const open = await linkedClinic();
    await send(open);
    const before = await held();
    setClocks(0, 4);
    expect(await check(open)).toBe('done');
    expect(await held()).toEqual(before);
    expect((await open.pooling.preview())?.counts.changed).toBeGreaterThan(0);
    setClocks(0, 0);
    expect((await open.pooling.preview())?.counts).toMatchObject({ new: 0, changed: 0, conflict: 0 });
  });

  it('a clinic whose clock stands before its patients were treated sends and withdraws nothing by itself', async () => {
    const open = await linkedClinic();
    await send(open);
    const before = await held();
    expect(before.length).toBeGreaterThan(5);
    setClocks(0, -30);
    expect(await check(open)).toBe('done');
    expect(await held()).toEqual(before);
    expect(await open.pooling.withdrawals()).toEqual([]);
    expect((await open.pooling.preview())?.heldBack).toHaveLength(before.length);
  });

  it('a batch that the service has is answered as before, whatever year it is there', async () => {
    const open = await linkedClinic();
    await send(open);
    const { book } = await open.store.readPooling();
    const link = book.link.get('link');
    const [[pseudonym = '', head] = []] = [...book.head];
    const item = { kind: 'record', basedOn: null, version: head?.version, record: head?.record };
    for (const years of [25, -20, 0]) {
      setClocks(years, 0);
      const again = { batch: randomUUID(), definition: 1, items: [item] };
      const { data } = await pool.service.ask('push', again, link?.token);
      expect(data['items']).toEqual([{ kind: 'already-stored', pseudonym, sequence: head?.sequence }]);
    }
  });
});
