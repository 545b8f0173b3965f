import assert from 'node:assert/strict';
import {
  pullAnswerSchema,
  pushAnswerSchema,
  tombstoneText,
  versionText,
  type PulledChange,
} from '@longhold/core/exchange';
import { verifyStore } from '../command/verify';
import type { Reply } from '../service.fixture';
import { digestOf } from '../study/secrets';
import type { Ground } from './ground.fixture';
import { patientOf, type ExpectedAnswer, type Model, type ModelBatch } from './reference-model.fixture';

/** What one program has pulled so far. */
export interface Mirror {
  /** Null: the changes of all clinics, pulled by the coordinator. */
  readonly centre: number | null;
  epoch: string | null;
  cursor: number;
  /** By member and pseudonym. */
  readonly records: Map<string, PulledChange & { kind: 'record' }>;
  readonly tombstones: Set<string>;
}

/** The programs that talk to the service under test. */
export interface Clinics {
  readonly ground: Ground;
  readonly coordinator: string;
  /** The members' ids, in the order of the model's centres. */
  readonly members: readonly string[];
  readonly mirrors: readonly Mirror[];
}

/** A token of a centre that is good. */
export function goodToken(model: Model, centre: number): string {
  const device = model.devices.find((candidate) => candidate.centre === centre && !candidate.revoked);
  assert(device !== undefined, 'a centre of the model always has a device');
  return device.token;
}

/** Compares the answer to a batch with what was expected, and notes the numbers and receipts that it gave. */
export function checkAnswer(
  model: Model,
  centre: number,
  input: ModelBatch['input'],
  {
    reply,
    expected,
    floor,
  }: {
    readonly reply: Reply;
    readonly expected: readonly ExpectedAnswer[];
    /** New numbers lie above it. */
    readonly floor: number;
  },
): void {
  assert.equal(reply.reason, null);
  const answer = pushAnswerSchema.parse(reply.data);
  assert.deepEqual(
    answer.items.map(({ kind }) => kind),
    expected,
  );
  answer.items.forEach((item, index) => {
    const sent = input.items[index];
    const pseudonym = sent?.kind === 'record' ? sent.record.pseudonym : sent?.pseudonym;
    assert.equal(item.pseudonym, pseudonym);
    const patient = patientOf(model, centre, item.pseudonym);
    if (item.kind === 'withdrawn') {
      const { id, sequence, ...told } = item.receipt;
      const { versionsRemoved, month } = patient.withdrawn ?? {};
      assert.deepEqual(told, { versionsRemoved, month });
      if (patient.withdrawn !== null) patient.withdrawn.receipt ??= { id, sequence };
      assert.deepEqual(patient.withdrawn?.receipt, { id, sequence });
    } else if (item.kind === 'conflict') {
      const { head } = patient;
      assert.deepEqual(
        item.head && { version: item.head.version, record: item.head.record },
        head && { version: head.version, record: head.record },
      );
    } else if (item.kind !== 'gone' && sent?.kind === 'record') {
      const known = patient.sequences.get(sent.version);
      if (known === undefined) {
        if (item.kind === 'stored') assert(item.sequence > floor, 'a new change has a new number');
        patient.sequences.set(sent.version, item.sequence);
      } else assert.equal(item.sequence, known);
    }
  });
  const before = model.batches.find(({ input: { batch } }) => batch === input.batch);
  if (before === undefined) model.batches.push({ centre, input, sequence: answer.sequence });
  else assert.equal(answer.sequence, before.sequence);
  model.sequence = Math.max(model.sequence, answer.sequence);
}

/** Pulls one page into a mirror; whether there was more. */
export async function pullPage(
  clinics: Clinics,
  model: Model,
  mirror: Mirror,
  limit: number,
): Promise<boolean> {
  const { ground, coordinator } = clinics;
  const token = mirror.centre === null ? coordinator : goodToken(model, mirror.centre);
  const of = mirror.centre === null ? 'all' : 'own';
  const reply = await ground.service().ask('pull', { after: mirror.cursor, of, limit }, token);
  assert.equal(reply.reason, null);
  const { epoch, changes, next, more } = pullAnswerSchema.parse(reply.data);
  if (mirror.epoch !== epoch) {
    const first = mirror.epoch === null;
    mirror.epoch = epoch;
    mirror.cursor = 0;
    mirror.records.clear();
    mirror.tombstones.clear();
    if (!first) return true;
  }
  for (const change of changes) {
    assert(change.sequence > mirror.cursor, 'changes come in the order of their numbers');
    mirror.cursor = change.sequence;
    if (change.kind === 'record') mirror.records.set(`${change.member} ${change.record.pseudonym}`, change);
    else forget(mirror, change);
  }
  assert(next >= mirror.cursor);
  mirror.cursor = next;
  return more;
}

function forget(mirror: Mirror, { tombstone }: PulledChange & { kind: 'withdrawal' }): void {
  mirror.tombstones.add(tombstone);
  for (const [key, { member, record }] of mirror.records) {
    if (digestOf(tombstoneText(member, record.pseudonym)) === tombstone) mirror.records.delete(key);
  }
}

/**
 * What must hold whenever nothing is under way: every acknowledged record is there once, as it was sent; none that was
 * withdrawn; and whoever pulled by cursor knows the same as who pulls from the start.
 */
export async function checkEverything(clinics: Clinics, model: Model): Promise<void> {
  const { members } = clinics;
  const records = new Map<string, { version: string; definition: number; sequence: number | undefined }>();
  const tombstones = new Set<string>();
  model.centres.forEach((patients, centre) => {
    const member = members[centre] ?? '';
    for (const [pseudonym, { head, withdrawn, definition, sequences }] of patients) {
      if (withdrawn !== null) tombstones.add(digestOf(tombstoneText(member, pseudonym)));
      if (head === null) continue;
      const { version } = head;
      records.set(`${member} ${pseudonym}`, { version, definition, sequence: sequences.get(version) });
    }
  });
  assert.deepEqual(await verifyStore(clinics.ground.service().store), {
    records: records.size,
    withdrawn: tombstones.size,
    faults: [],
  });
  const fromTheStart: Mirror[] = [null, 0, 1].map(newMirror);
  for (const mirror of [...fromTheStart, ...clinics.mirrors]) {
    while (await pullPage(clinics, model, mirror, 3)) continue;
    const member = mirror.centre === null ? '' : members[mirror.centre];
    const own = [...records].filter(([key]) => key.startsWith(member ?? ''));
    const pulled = [...mirror.records].map(([key, { version, definition, sequence }]) => {
      return [key, { version, definition, sequence }] as const;
    });
    assert.deepEqual(new Map(pulled), new Map(own));
    for (const { version, record } of mirror.records.values()) {
      const head = patientHead(model, record.pseudonym, version);
      assert.deepEqual(record, head.record);
      assert.equal(digestOf(versionText(head.basedOn, record)), version);
    }
    if (mirror.centre === null) assert.deepEqual(mirror.tombstones, tombstones);
  }
}

function patientHead(model: Model, pseudonym: string, version: string) {
  const heads = model.centres.map((patients) => patients.get(pseudonym)?.head);
  const head = heads.find((candidate) => candidate?.version === version);
  assert(head != null, 'a pulled version is the newest of its patient');
  return head;
}

/** A mirror that holds nothing yet. */
export function newMirror(centre: number | null): Mirror {
  return { centre, epoch: null, cursor: 0, records: new Map(), tombstones: new Set() };
}
