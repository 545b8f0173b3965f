import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { z } from 'zod';
import { otherValues, withoutConsents } from '../pooling/changed-files';
import {
  coordinate,
  DEFINITION,
  desktop,
  inventedFiles,
  longhold,
  poolingFolder,
  publish,
  SERVICE_FAULT,
  servicePrograms,
  startLonghold,
  type Desktop,
  type Service,
} from '../pooling/programs';
import { recordingProxy } from '../pooling/recording-proxy';

// Dozens of programs are started one after the other; a busy computer takes its time over each.
vi.setConfig({ testTimeout: 400_000, hookTimeout: 400_000 });

const folder = poolingFolder(afterAll);
const programs = servicePrograms(folder);
let service: Service;
let coordinator: Desktop;
let invite: (role: string) => Promise<string>;
const clinics: Desktop[] = [];
const files: string[] = [];

const countsSchema = z.looseObject({
  counts: z.strictObject({
    new: z.int(),
    changed: z.int(),
    'in-pool': z.int(),
    conflict: z.int(),
  }),
});
const counts = async (clinic: Desktop): Promise<z.infer<typeof countsSchema>['counts']> =>
  countsSchema.parse(await clinic.pool('preview')).counts;
const inPool = async (clinic: Desktop): Promise<number> => Number((await clinic.pool('status'))['inPool']);
const clinic = (index: number): Desktop => {
  const found = clinics[index];
  if (found === undefined) throw new Error(`there is no clinic ${index}`);
  return found;
};

/** Records and withdrawn patients in the service's store, read and checked by its own command. */
async function inService(): Promise<{ records: number; withdrawn: number }> {
  const { out, code } = await programs.command('verify');
  expect({ code, out }).toMatchObject({ code: 0, out: expect.stringContaining('Nothing is wrong') });
  const [, records, withdrawn] = /(\d+) records, (\d+) withdrawn/.exec(out) ?? [];
  return { records: Number(records), withdrawn: Number(withdrawn) };
}

beforeAll(async () => {
  service = await programs.start();
  ({ coordinator, invite } = await coordinate(folder, service, programs.coordinatorCode(), DEFINITION));
  for (const seed of [1, 2, 3]) {
    const own = await inventedFiles(folder, `files ${seed}`, seed, 24);
    const made = desktop(folder, `clinic ${seed}`);
    await made.bringIn(own);
    await made.link(service.address, await invite('centre'));
    clinics.push(made);
    files.push(own);
  }
});
afterAll(() => service.stop());

describe('Three clinics and a service, each a process of its own', () => {
  it('send what their previews showed, and the service holds each record once', async () => {
    let sent = 0;
    for (const each of clinics) {
      const shown = countsSchema.parse(await each.send()).counts;
      expect(shown).toMatchObject({ changed: 0, 'in-pool': 0, conflict: 0 });
      expect(shown.new).toBeGreaterThan(10);
      expect(await counts(each)).toEqual({ new: 0, changed: 0, 'in-pool': shown.new, conflict: 0 });
      sent += shown.new;
    }
    expect(await inService()).toEqual({ records: sent, withdrawn: 0 });
  });

  it('refuse to send what was not shown', async () => {
    const ended = await clinic(0).tryPool('send', '--confirm', '0'.repeat(64));
    expect(ended).toMatchObject({
      code: SERVICE_FAULT,
      err: expect.stringContaining('has changed since it was shown'),
    });
  });

  it('stop at Ctrl-C while they send, say so, and send the rest at the next occasion', async () => {
    const slow = desktop(folder, 'slow clinic');
    const proxy = await recordingProxy(service.address);
    await slow.bringIn(await inventedFiles(folder, 'files of a slow clinic', 9, 20));
    await slow.link(proxy.address, await invite('centre'));
    const { digest } = await slow.pool('preview');
    proxy.setDelay(2_000);
    const asked = proxy.requests('session');
    const child = startLonghold(['pool', 'send', '--confirm', String(digest), '--store', slow.store]);
    const ended = new Promise<number | null>((resolve) => child.on('close', resolve));
    while (proxy.requests('session') === asked) await pause(20);
    child.kill('SIGINT');
    expect(await ended).toBe(SERVICE_FAULT);
    const before = z.looseObject({ outbox: z.looseObject({ records: z.int() }) });
    expect(before.parse(await slow.pool('status')).outbox.records).toBeGreaterThan(10);
    proxy.setDelay(0);
    expect(await slow.pool('check')).toMatchObject({ outbox: { batches: 0, sheet: false } });
    await proxy.close();
  });

  it('withdraw a patient for good, with a receipt, and never send the patient again', async () => {
    const before = await inService();
    const code = await someoneInPool(clinic(0));
    const receipt = z
      .looseObject({ receipt: z.looseObject({ versionsRemoved: z.int() }) })
      .parse(await clinic(0).pool('withdraw', code));
    expect(receipt.receipt.versionsRemoved).toBe(1);
    expect(await inService()).toEqual({ records: before.records - 1, withdrawn: 1 });
    const left = z.looseObject({ withdrawnForGood: z.array(z.looseObject({ code: z.string() })) });
    const preview = await clinic(0).pool('preview');
    expect(countsSchema.parse(preview).counts.new).toBe(0);
    expect(left.parse(preview).withdrawnForGood).toMatchObject([{ code }]);
  });

  it('withdraw whose consent is gone at the next exchange, without being asked', async () => {
    const before = await inService();
    const code = await someoneInPool(clinic(1));
    await clinic(1).bringIn(files[1] ?? '', withoutConsents([code]));
    await clinic(1).pool('check');
    expect(await inService()).toEqual({ records: before.records - 1, withdrawn: before.withdrawn + 1 });
  });

  it('send everything anew under another study definition, after it was shown', async () => {
    const shown = await clinic(2).pool('preview');
    await publish(folder, coordinator, { ...DEFINITION, measures: ['Co-Gn'] });
    // It is unchanged under the old definition, so nothing of it goes, and the new definition is told of.
    await clinic(2).pool('send', '--confirm', String(shown['digest']));
    const now = await counts(clinic(2));
    expect(now).toMatchObject({ new: 0, 'in-pool': 0 });
    const { records } = await inService();
    await clinic(2).send();
    expect(await counts(clinic(2))).toMatchObject({ changed: 0, 'in-pool': now.changed });
    expect((await inService()).records).toBe(records);
  });

  it('end with a plain sentence when their access is revoked, and lose nothing', async () => {
    const state = z.looseObject({ link: z.looseObject({ device: z.string() }) });
    const { link } = state.parse(await clinic(1).pool('status'));
    await coordinator.pool('revoke', link.device);
    const ended = await clinic(1).tryPool('check');
    expect(ended.code).toBe(SERVICE_FAULT);
    expect(ended.err).toContain('was revoked');
    expect(await inPool(clinic(1))).toBeGreaterThan(10);
  });
});

describe('Two desktops of one clinic', () => {
  let second: Desktop;
  const secret = { LONGHOLD_LINK_PASSPHRASE: 'another invented passphrase' };

  beforeAll(async () => {
    second = desktop(folder, 'second desktop');
    await second.bringIn(files[2] ?? '');
    const file = join(folder, 'second.longhold-link');
    await longhold(['pool', 'link-file', file, '--store', clinic(2).store], secret);
    const linked = await longhold(['pool', 'link', '--file', file, '--store', second.store], secret);
    expect(linked.code, linked.err).toBe(0);
  });

  it('give one patient one pseudonym, so the second has nothing to send', async () => {
    const first = await counts(clinic(2));
    expect(await counts(second)).toEqual(first);
  });

  it('are shown a conflict when the other changed a patient, and a choice goes on from what the service holds', async () => {
    const { records } = await inService();
    const code = await someoneInPool(second);
    await second.bringIn(files[2] ?? '', otherValues(code, 1));
    expect(await counts(second)).toMatchObject({ changed: 1, conflict: 0 });
    await second.send();
    // The first desktop has neither that change nor the right to undo it.
    await clinic(2).pool('check');
    expect(await counts(clinic(2))).toMatchObject({ changed: 0, conflict: 1 });
    await clinic(2).send();
    expect(await counts(clinic(2))).toMatchObject({ conflict: 1 });
    await clinic(2).pool('choose', code, 'mine');
    expect(await counts(clinic(2))).toMatchObject({ changed: 1, conflict: 0 });
    await clinic(2).send();
    expect(await counts(clinic(2))).toMatchObject({ changed: 0, conflict: 0 });
    await second.pool('check');
    expect(await counts(second)).toMatchObject({ changed: 0, conflict: 1 });
    await second.pool('choose', code, 'theirs');
    expect(await counts(second)).toMatchObject({ changed: 0, conflict: 0 });
    expect((await inService()).records).toBe(records);
  });

  it('both changing the same patient lose neither version before a person has chosen', async () => {
    const code = await someoneInPool(second, 1);
    await second.bringIn(files[2] ?? '', otherValues(code, 2));
    await clinic(2).bringIn(files[2] ?? '', otherValues(code, 3));
    const shown = await clinic(2).pool('preview');
    await second.send();
    // Shown and confirmed before the other's version was known: the service takes neither in the place of the other.
    await clinic(2).pool('send', '--confirm', String(shown['digest']));
    const list = z.array(z.looseObject({ code: z.string(), mine: z.unknown(), theirs: z.unknown() }));
    const [conflict, ...more] = list.parse(Object.values(await clinic(2).pool('conflicts')));
    expect(more).toEqual([]);
    expect(conflict?.code).toBe(code);
    expect(conflict?.mine).not.toEqual(conflict?.theirs);
  });

  it('cannot be linked by a typed code, which would put every patient there twice', async () => {
    const third = desktop(folder, 'third desktop');
    await third.bringIn(files[2] ?? '');
    const { link } = z
      .looseObject({ link: z.looseObject({ member: z.string() }) })
      .parse(await clinic(2).pool('status'));
    expect(link.member).toMatch(/-/);
    const code = await furtherCode(link.member);
    const ended = await longhold(['pool', 'link', '--address', service.address, '--store', third.store], {
      LONGHOLD_ENROLMENT_CODE: code,
    });
    expect(ended.code).toBe(SERVICE_FAULT);
    expect(ended.err).toContain('link file');
  });

  /** A code for one more device of a member, which the coordinator may give. */
  async function furtherCode(member: string): Promise<string> {
    return String((await coordinator.pool('invite', 'centre', '--member', member))['code']);
  }
});

/** The code of a patient whose record the service holds. */
async function someoneInPool(from: Desktop, skip = 0): Promise<string> {
  const rows = await from.records();
  const found = rows.filter(({ inPool: there, record }) => there !== null && record.group === 'treated')[
    skip
  ];
  if (found === undefined) throw new Error('nobody of this clinic is in the pool');
  return found.code;
}
