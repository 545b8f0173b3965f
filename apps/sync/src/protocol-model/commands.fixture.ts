import assert from 'node:assert/strict';
import { randomUUID } from 'node:crypto';
import type { RecordVersion } from '@longhold/core/exchange';
import fc, { type AsyncCommand } from 'fast-check';
import { INVENTED_DEFINITION, inventedRecord, versionOf } from '../service.fixture';
import { monthOf } from '../study/audit';
import {
  checkAnswer,
  checkEverything,
  goodToken,
  newMirror,
  pullPage,
  type Clinics,
} from './clinics.fixture';
import {
  copyOf,
  patientOf,
  repeatBatch,
  takeBatch,
  type Model,
  type ModelBatch,
  type ModelDevice,
} from './reference-model.fixture';

/** A definition that lets the coordinator pull the records of all. */
export const SHARED_DEFINITION = { ...INVENTED_DEFINITION, recordsShared: true };
const PATIENTS = 4;
const FIRST_AGE = 150;
const DAY = 86_400_000;

/** One item of a batch before it is known what the service holds. */
interface ItemPlan {
  readonly patient: number;
  readonly age: number;
  /** What a version says it was made from; `resend` sends an earlier one as it was. */
  readonly base: 'head' | 'none' | 'unknown' | 'resend';
  readonly withdraw: boolean;
}

const itemPlans = (most: number): fc.Arbitrary<ItemPlan[]> =>
  fc.array(
    fc.record({
      patient: fc.nat({ max: PATIENTS - 1 }),
      age: fc.nat({ max: 2 }),
      base: fc.oneof(
        { weight: 5, arbitrary: fc.constant('head' as const) },
        fc.constantFrom('none' as const, 'unknown' as const, 'resend' as const),
      ),
      withdraw: fc.integer({ min: 0, max: 11 }).map((n) => n === 0),
    }),
    { minLength: 1, maxLength: most },
  );

function made(model: Model, centre: number, { patient, age, base, withdraw }: ItemPlan): RecordVersion {
  const record = inventedRecord(patient, FIRST_AGE + age);
  const { pseudonym } = record;
  if (withdraw) return { kind: 'withdrawal', pseudonym };
  if (base === 'resend') {
    const earlier = model.batches
      .filter((batch) => batch.centre === centre)
      .flatMap(({ input }) => input.items)
      .filter((item) => item.kind === 'record' && item.record.pseudonym === pseudonym);
    const again = earlier[age];
    if (again !== undefined) return again;
  }
  const head = patientOf(model, centre, pseudonym).head?.version ?? null;
  const unknown = versionOf(inventedRecord(patient, FIRST_AGE + 50 + age)).version;
  return versionOf(record, base === 'head' ? head : base === 'unknown' ? unknown : null);
}

/** A batch whose items are each made on top of those before. */
function newBatch(model: Model, centre: number, plans: readonly ItemPlan[]): ModelBatch['input'] {
  const scratch = copyOf(model);
  const batch = randomUUID();
  const { definition } = model;
  const items = plans.map((plan) => {
    const item = made(scratch, centre, plan);
    takeBatch(scratch, centre, { batch, definition, items: [item] }, '2000-01');
    return item;
  });
  return { batch, definition, items };
}

const pushOf = (clinics: Clinics, input: ModelBatch['input'], token: string) => () =>
  clinics.ground.service().ask('push', input, token);

type StudyCommand = AsyncCommand<Model, Clinics>;

/** A command that is always possible, named by what it does. */
function command(name: string, run: (model: Model, clinics: Clinics) => Promise<void>): StudyCommand {
  return { check: () => true, run, toString: () => name };
}

/** Sends a new batch, `times` at once; each copy must be answered the same. */
const push = fc
  .record({ centre: fc.nat({ max: 1 }), times: fc.constantFrom(1, 1, 1, 3), plans: itemPlans(6) })
  .map(({ centre, times, plans }) =>
    command(`push ${JSON.stringify({ centre, times, plans })}`, async (model, clinics) => {
      const input = newBatch(model, centre, plans);
      const floor = model.sequence;
      const send = pushOf(clinics, input, goodToken(model, centre));
      const replies = await Promise.all(Array.from({ length: times }, send));
      const expected = takeBatch(model, centre, input, monthOf(clinics.ground.now()));
      for (const reply of replies) {
        assert.deepEqual(reply, replies[0]);
        checkAnswer(model, centre, input, { reply, expected, floor });
      }
    }),
  );

/** Sends an earlier batch again, late and out of order. */
const repeat = fc.nat({ max: 50 }).map((which) =>
  command(`repeat ${which}`, async (model, clinics) => {
    const earlier = model.batches[which % Math.max(1, model.batches.length)];
    if (earlier === undefined) return;
    const { centre, input } = earlier;
    const reply = await pushOf(clinics, input, goodToken(model, centre))();
    const expected = repeatBatch(model, centre, input);
    checkAnswer(model, centre, input, { reply, expected, floor: model.sequence });
  }),
);

/** Sends other content under an earlier key, or under a definition that is not in force: nothing of it counts. */
const refused = fc
  .record({ which: fc.nat({ max: 50 }), plans: itemPlans(2), outdated: fc.boolean() })
  .map(({ which, plans, outdated }) =>
    command(`refused ${JSON.stringify({ which, plans, outdated })}`, async (model, clinics) => {
      const earlier = model.batches[which % Math.max(1, model.batches.length)];
      if (earlier === undefined) return;
      const { centre } = earlier;
      const records = plans.map((plan) => ({ ...plan, base: 'head' as const, withdraw: false }));
      const { items } = newBatch(model, centre, records);
      const other = outdated
        ? { batch: randomUUID(), definition: model.definition + 1, items }
        : { ...earlier.input, items: [...earlier.input.items, ...items] };
      const reply = await pushOf(clinics, other, goodToken(model, centre))();
      assert.equal(reply.reason, outdated ? 'definition-outdated' : 'batch-reused');
    }),
  );

/** Two devices of a clinic change one patient at once: one wins, the other is shown what won. */
const rivals = fc
  .record({ centre: fc.nat({ max: 1 }), patient: fc.nat({ max: PATIENTS - 1 }) })
  .map(({ centre, patient }) =>
    command(`rivals ${JSON.stringify({ centre, patient })}`, async (model, clinics) => {
      const floor = model.sequence;
      const plan = { patient, base: 'head', withdraw: false } as const;
      const inputs = [10, 11].map((age) => newBatch(model, centre, [{ ...plan, age }]));
      const tokens = model.devices
        .filter((device) => device.centre === centre && !device.revoked)
        .map(({ token }) => token);
      const sent = inputs.map((input, index) => {
        const token = tokens[index % tokens.length] ?? '';
        return pushOf(clinics, input, token)().then((reply) => ({ input, reply }));
      });
      const replies = await Promise.all(sent);
      // Whoever was stored came first.
      const won = ({ reply }: (typeof replies)[number]): number =>
        JSON.stringify(reply.data).includes('"stored"') ? 0 : 1;
      for (const { input, reply } of replies.sort((a, b) => won(a) - won(b))) {
        const expected = takeBatch(model, centre, input, monthOf(clinics.ground.now()));
        checkAnswer(model, centre, input, { reply, expected, floor });
      }
    }),
  );

const pull = fc
  .record({ who: fc.nat({ max: 2 }), limit: fc.integer({ min: 1, max: 5 }) })
  .map(({ who, limit }) =>
    command(`pull ${JSON.stringify({ who, limit })}`, async (model, clinics) => {
      const mirror = clinics.mirrors[who];
      if (mirror !== undefined) await pullPage(clinics, model, mirror, limit);
    }),
  );

function liveDevice(model: Model, which: number): ModelDevice {
  const live = model.devices.filter(({ revoked }) => !revoked);
  const device = live[which % live.length];
  assert(device !== undefined);
  return device;
}

/** Asks for a new token; it may be lost, used at once, or used while another is asked for. */
const rotate = fc
  .record({ which: fc.nat({ max: 9 }), then: fc.constantFrom('lost', 'used', 'raced') })
  .map(({ which, then }) =>
    command(`rotate ${JSON.stringify({ which, then })}`, async (model, clinics) => {
      const service = clinics.ground.service();
      const device = liveDevice(model, which);
      const old = device.token;
      const asked = await service.ask('rotateToken', {}, old);
      assert.equal(asked.reason, null);
      const next = String(asked.data['token']);
      if (device.next !== null) {
        assert.equal((await service.ask('session', {}, device.next)).reason, 'not-signed-in');
      }
      device.next = next;
      if (then === 'lost') {
        assert.equal((await service.ask('session', {}, old)).reason, null);
        return;
      }
      const race = then === 'raced' ? [service.ask('rotateToken', {}, old)] : [];
      const [used, raced] = await Promise.all([service.ask('session', {}, next), ...race]);
      if (used.reason === null) {
        // The new token was used, so nothing that came with the old one may bring that back.
        assert.equal((await service.ask('session', {}, old)).reason, 'not-signed-in');
        assert.equal((await service.ask('session', {}, next)).reason, null);
        if (raced !== undefined) assert.equal(raced.reason, 'not-signed-in');
        Object.assign(device, { token: next, next: null });
      } else {
        assert.equal(used.reason, 'not-signed-in');
        assert.equal(raced?.reason, null);
        device.next = String(raced?.data['token']);
      }
    }),
  );

/** Ends a device and enrols another one of the same clinic. */
const replaceDevice = fc.record({ which: fc.nat({ max: 9 }), late: fc.boolean() }).map(({ which, late }) =>
  command(`replace device ${JSON.stringify({ which, late })}`, async (model, clinics) => {
    const { ground, coordinator } = clinics;
    const service = ground.service();
    const device = liveDevice(model, which);
    const { centre } = device;
    const member = clinics.members[centre] ?? null;
    const invited = await service.ask('invite', { role: 'centre', member }, coordinator);
    const { code } = invited.data;
    if (late) {
      const invitedAt = ground.now();
      ground.setClock(new Date(invitedAt.getTime() + 7 * DAY));
      assert.equal((await service.ask('enrol', { code })).reason, 'code-expired');
      ground.setClock(new Date(invitedAt.getTime() + 7 * DAY - 1));
    }
    const tries = await Promise.all([1, 2].map(() => service.ask('enrol', { code })));
    assert.deepEqual(tries.map(({ reason }) => reason).sort(), ['code-used', null]);
    const enrolled = tries.find(({ reason }) => reason === null);
    model.devices.push({
      id: String(enrolled?.data['device']),
      centre,
      token: String(enrolled?.data['token']),
      next: null,
      revoked: false,
    });
    const ended = await service.ask(
      'revoke',
      { kind: 'device', device: device.id },
      goodToken(model, centre),
    );
    assert.deepEqual(ended.data, { revoked: 1 });
    device.revoked = true;
    const input = newBatch(model, centre, [{ patient: 0, age: 0, base: 'head', withdraw: false }]);
    for (const token of [device.token, device.next]) {
      if (token === null) continue;
      assert.equal((await pushOf(clinics, input, token)()).reason, 'revoked');
    }
  }),
);

const publish = fc.constant(
  command('publish', async (model, { ground, coordinator }) => {
    const input = { basedOn: model.definition, definition: SHARED_DEFINITION };
    const replies = await Promise.all([1, 2].map(() => ground.service().ask('publish', input, coordinator)));
    assert.deepEqual(replies.map(({ reason }) => reason).sort(), ['definition-conflict', null]);
    model.definition++;
  }),
);

const moveClock = fc.integer({ min: -900, max: 900 }).map((days) =>
  command(`move the clock by ${days} days`, async (_model, { ground }) => {
    ground.setClock(new Date(ground.now().getTime() + days * DAY));
  }),
);

/** A crash while several batches are under way; then each is sent again. */
const crash = fc
  .record({
    after: fc.nat({ max: 60 }),
    batches: fc.array(fc.record({ age: fc.nat({ max: 2 }), withdraw: fc.constantFrom(false, false, true) }), {
      minLength: 1,
      maxLength: 5,
    }),
  })
  .map(({ after, batches }) =>
    command(`crash ${JSON.stringify({ after, batches })}`, async (model, clinics) => {
      const floor = model.sequence;
      // Each has a patient of its own, so that their order does not matter.
      const sent = batches.map(({ age, withdraw }, index) => {
        const centre = index % 2;
        const plan = { patient: Math.floor(index / 2), base: 'head' } as const;
        const last = { ...plan, age: age + 1, withdraw };
        return { centre, input: newBatch(model, centre, [{ ...plan, age, withdraw: false }, last]) };
      });
      const month = monthOf(clinics.ground.now());
      const replies = await clinics.ground.crashDuring(
        sent.map(({ centre, input }) => pushOf(clinics, input, goodToken(model, centre))),
        after,
      );
      for (const [index, { centre, input }] of sent.entries()) {
        const before = replies[index];
        const expected = takeBatch(model, centre, input, month);
        if (before != null) checkAnswer(model, centre, input, { reply: before, expected, floor });
        const reply = await pushOf(clinics, input, goodToken(model, centre))();
        checkAnswer(model, centre, input, { reply, expected, floor });
        if (before != null) assert.deepEqual(reply, before);
      }
      await checkEverything(clinics, model);
    }),
  );

/** Copies the store and remembers what the clinics could count on then; the commands after it may be lost with it. */
const backUp = fc.constant(
  command('back up', async (model, { ground }) => {
    await ground.backUp();
    backups.set(ground, copyOf(model));
  }),
);
const backups = new WeakMap<Clinics['ground'], Model>();

/** Restores the backup. The clinics see the new epoch and repeat what they have: withdrawals first, then records. */
const restore = fc.constant(
  command('restore', async (model, clinics) => {
    const saved = backups.get(clinics.ground);
    if (saved === undefined || !(await clinics.ground.restore())) return;
    const lost = copyOf(model);
    Object.assign(model, copyOf(saved));
    await hearEveryone(clinics, model);
    await checkEverything(clinics, model);
    for (const [centre, patients] of lost.centres.entries()) {
      for (const [pseudonym, { withdrawn, head }] of patients) {
        if (withdrawn !== null) await repeatOne(clinics, model, centre, { kind: 'withdrawal', pseudonym });
        else if (head !== null) {
          const kept = patientOf(model, centre, pseudonym);
          await repeatOne(clinics, model, centre, head);
          // Where the backup held another version, the clinic puts its own on top of that.
          if (kept.head?.version !== head.version) {
            await repeatOne(clinics, model, centre, versionOf(head.record, kept.head?.version));
          }
          assert.deepEqual(kept.head?.record, head.record);
        }
      }
    }
    await checkEverything(clinics, model);
  }),
);

/** Nobody reads records of others before each clinic was heard under the new epoch. */
async function hearEveryone(clinics: Clinics, model: Model): Promise<void> {
  const { ground, coordinator } = clinics;
  for (const centre of model.centres.keys()) {
    const early = await ground.service().ask('pull', { after: 0, of: 'all' }, coordinator);
    assert.equal(early.reason, 'unavailable');
    const reading = newMirror(centre);
    while (await pullPage(clinics, model, reading, 500)) continue;
  }
}

async function repeatOne(clinics: Clinics, model: Model, centre: number, item: RecordVersion): Promise<void> {
  const input = { batch: randomUUID(), definition: model.definition, items: [item] };
  const floor = model.sequence;
  const reply = await pushOf(clinics, input, goodToken(model, centre))();
  const expected = takeBatch(model, centre, input, monthOf(clinics.ground.now()));
  checkAnswer(model, centre, input, { reply, expected, floor });
}

/** Everything that may happen to a study, in any order. */
export function studyCommands(most: number): fc.Arbitrary<Iterable<StudyCommand>> {
  const kinds = [push, push, push, repeat, refused, rivals, pull, pull, rotate, replaceDevice];
  return fc.commands([...kinds, publish, moveClock, crash, backUp, restore], {
    maxCommands: most,
    size: 'max',
  });
}
