/**
 * A clinic's program that sends batches to a pooling service until it is killed. It writes each batch down before it is
 * sent for the first time, and sends what was not answered again, whatever killed itself or the service in between.
 * Arguments: port, token, ledger, seed.
 */
import { createHash, randomUUID } from 'node:crypto';
import { appendFileSync } from 'node:fs';
import { setTimeout as pause } from 'node:timers/promises';
import type { PushAnswer, PushInput } from '@longhold/core/exchange';
import { createRandom } from '@longhold/core/numeric';
import { versionText } from '../../../packages/core/src/exchange/digests';
import type { PooledRecord } from '@longhold/core/contribution';
import { askService } from '../sync-service';
import { patientsAfter, readLedger, type LedgerBatch, type LedgerLine } from './sync-ledger';

const LANES = 3;
const PATIENTS_OF_LANE = 8;
const RETRY_AFTER = 5;

const [port = '', token = '', ledger = '', seed = ''] = process.argv.slice(2);
const note = (line: LedgerLine): void => appendFileSync(ledger, `${JSON.stringify(line)}\n`);
const random = createRandom(Number(seed));
/** Of the service's store, which a restart leaves as it is; null until it was asked. */
let epoch: string | null = null;
const draw = (most: number): number => random.integer(most);

function inventedRecord(pseudonym: string, ageMonths: number): PooledRecord {
  return {
    pseudonym,
    group: 'treated',
    sex: 'female',
    ageMonths,
    protocol: null,
    expansion: null,
    maturityStart: null,
    yearsPassed: 2,
    visits: [],
    events: [],
  };
}

async function ask(input: PushInput): Promise<PushAnswer | null> {
  try {
    epoch ??= String((await askService(Number(port), 'session', {}, token))['epoch']);
    const reply = await fetch(`http://127.0.0.1:${port}/rpc/push`, {
      method: 'POST',
      headers: {
        'content-type': 'application/json',
        'longhold-protocol': '1',
        'longhold-epoch': epoch,
        authorization: `Bearer ${token}`,
      },
      body: JSON.stringify(input),
    });
    const content = await reply.json();
    if (reply.status === 200) return content.result.data;
    if (reply.status === 503) return null;
    throw new Error(`refused with ${reply.status}`);
  } catch (thrown) {
    if (thrown instanceof Error && thrown.message.startsWith('refused')) throw thrown;
    return null;
  }
}

/** Sends a batch until it is answered, now and then two copies at once. */
async function deliver(input: PushInput): Promise<PushAnswer> {
  for (;;) {
    const copies = draw(8) === 0 ? [ask(input), ask(input)] : [ask(input)];
    const answer = (await Promise.all(copies)).find((candidate) => candidate !== null);
    if (answer != null) {
      note({ answered: answer });
      return answer;
    }
    await pause(RETRY_AFTER);
  }
}

/** Patients of a lane are its own, so that lanes send at the same time and each knows what is newest. */
async function runLane(lane: number, earlier: readonly LedgerBatch[]): Promise<void> {
  const patients = new Map(
    [...patientsAfter(earlier)].map(([pseudonym, { version }]) => [pseudonym, version]),
  );
  for (const { input, answer } of earlier) if (answer === null) await deliver(input);
  for (;;) {
    while ([...patients.values()].filter((version) => version !== null).length < PATIENTS_OF_LANE) {
      const input = newBatch([addition(lane, patients)]);
      await deliver(input);
    }
    const live = [...patients].flatMap(([pseudonym, version]) => (version === null ? [] : [pseudonym]));
    const items = Array.from({ length: 1 + draw(3) }, () => live[draw(live.length)] ?? '').map((pseudonym) =>
      change(pseudonym, patients),
    );
    await deliver(newBatch(items));
  }
}

type Item = PushInput['items'][number];

function newBatch(items: Item[]): PushInput {
  const input = { batch: randomUUID(), definition: 1, items };
  note({ sending: input });
  return input;
}

function addition(lane: number, patients: Map<string, string | null>): Item {
  // The first digit tells the lane.
  const pseudonym = `${lane}${randomUUID().replaceAll('-', '').slice(1)}`;
  patients.set(pseudonym, null);
  return change(pseudonym, patients, true);
}

function change(pseudonym: string, patients: Map<string, string | null>, fresh = false): Item {
  const basedOn = patients.get(pseudonym) ?? null;
  if (!fresh && (basedOn === null || draw(12) === 0)) {
    patients.set(pseudonym, null);
    return { kind: 'withdrawal', pseudonym };
  }
  const record = inventedRecord(pseudonym, 100 + draw(80));
  const version = createHash('sha256').update(versionText(basedOn, record)).digest('hex');
  patients.set(pseudonym, version);
  return { kind: 'record', version, basedOn, record };
}

function laneOf({ input: { items } }: LedgerBatch): number {
  const [item] = items;
  const pseudonym = item?.kind === 'record' ? item.record.pseudonym : item?.pseudonym;
  return Number(pseudonym?.[0]);
}

// A line that the last kill cut short would swallow the next one.
appendFileSync(ledger, '\n');
const before = readLedger(ledger);
await Promise.all(
  Array.from({ length: LANES }, (_unused, lane) =>
    runLane(
      lane,
      before.filter((batch) => laneOf(batch) === lane),
    ),
  ),
);
