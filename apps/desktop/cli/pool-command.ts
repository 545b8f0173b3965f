import { readFile } from 'node:fs/promises';
import { enrolmentCodeSchema, roleSchema } from '@longhold/core/exchange';
import { studyDefinitionSchema } from '@longhold/core/contribution';
import type { PoolingProgress } from '../host/pooling/answers';
import type { Pooling } from '../host/pooling/pooling';
import { oneOf, parseWords, required, type Command, type CommandContext } from './command';
import { CommandFault, EXIT, wrongUse, type ExitCode } from './command-fault';
import { fileFault, writeFile } from './files';
import { jsonText } from './json-text';
import { existingStorePath, withHost } from './open-host';
import { readPassphrase, readSecret } from './passphrase';
import { readJson } from './read-json';
import { stopSignal } from './stop-signal';
import type { Terminal } from './terminal';

const HELP = `longhold pool ACTION --store FILE [options]

Pools follow-up with other clinics through a pooling service. What leaves is pseudonymised, not
anonymous: ethics approval, consent and the agreement of the study group come first.

  status                     what is linked, waits, was sent; asks nobody outside this computer
  link --address URL         enrols this store; the code comes from LONGHOLD_ENROLMENT_CODE or is asked for
  link --file LINK           the same by a link file of the clinic's other desktop
  link-file LINK             makes such a file; it works once, for seven days
  check                      asks the service what is new; withdraws first where consent is gone
  preview [--records OUT]    what would leave, in words and numbers; all records into the file OUT
  send --confirm DIGEST      sends what the preview with that digest shows
  withdraw CODE              takes a patient out of the pool for good; prints the receipt
  withdraw-gone NUMBER       the same for all NUMBER patients whose consent is gone, where so many are gone
                             at once that they wait for a confirmation
  conflicts                  patients whom another desktop of the clinic sent otherwise
  choose CODE mine|theirs    settles one of them
  history                    what was sent
  pooled                     the pooled answer, as far as this member may see it
  publish DEFINITION         a new version of the study definition, a JSON file; for the coordinator
  invite ROLE [--member ID]  an enrolment code for a new centre or reader, or for a further device of a
                             member; for the coordinator
  devices                    devices of this member, of all members for the coordinator
  revoke DEVICE              ends the access of one device
  unlink                     ends this store's access; what is in the pool stays there

Answers are JSON on the standard output. The passphrase of the store comes from
LONGHOLD_PASSPHRASE, that of a link file from LONGHOLD_LINK_PASSPHRASE, or they are asked for.`;

const OPTIONS = {
  store: { type: 'string' },
  address: { type: 'string' },
  file: { type: 'string' },
  records: { type: 'string' },
  confirm: { type: 'string' },
  member: { type: 'string' },
} as const;

/** What an action is given: pooling of the open store, the words after the action, the options. */
interface Asked {
  readonly pooling: Pooling;
  readonly words: readonly string[];
  readonly values: { readonly [Name in keyof typeof OPTIONS]?: string | undefined };
  readonly terminal: Terminal;
}

type Action = (asked: Asked) => Promise<unknown>;

/** The words that each action takes after its name. */
const WORDS: Readonly<Record<string, readonly string[]>> = {
  'link-file': ['LINK, the file to make,'],
  withdraw: ['CODE of the patient'],
  'withdraw-gone': ['NUMBER of patients whose consent is gone'],
  choose: ['CODE of the patient', 'mine or theirs'],
  publish: ['DEFINITION, a JSON file,'],
  invite: ['ROLE'],
  revoke: ['DEVICE'],
};

const ACTIONS: Readonly<Record<string, Action>> = {
  status: ({ pooling }) => pooling.state(),
  link: linkStore,
  'link-file': makeLinkFile,
  check: async ({ pooling, terminal }) => {
    await ended(await pooling.startCheck(), pooling, terminal);
    const waiting = (await pooling.preview())?.withdrawalsToConfirm?.patients.length ?? 0;
    if (waiting > 0) terminal.note(waitingNote(waiting));
    return pooling.state();
  },
  preview: showPreview,
  send: sendConfirmed,
  withdraw: withdrawPatient,
  'withdraw-gone': withdrawAllGone,
  conflicts: ({ pooling }) => pooling.conflicts(),
  choose: settleConflict,
  history: async ({ pooling }) => (await pooling.history({ offset: 0, limit: Infinity })).rows,
  pooled: ({ pooling }) => pooling.ask('pooled', {}),
  publish: publishDefinition,
  devices: ({ pooling }) => pooling.ask('devices', {}),
  invite: ({ pooling, words, values }) => {
    const role = oneOf(words[0] ?? '', 'ROLE', roleSchema.options);
    return pooling.ask('invite', { role, member: values.member ?? null });
  },
  revoke: ({ pooling, words }) => pooling.ask('revoke', { kind: 'device', device: words[0] ?? '' }),
  unlink: ({ pooling }) => pooling.unlink(),
};

export const poolCommand: Command = {
  name: 'pool',
  summary: 'pool follow-up with other clinics',
  help: HELP,
  async run(words, context) {
    const [name, ...rest] = words;
    const action = name === undefined ? undefined : ACTIONS[name];
    if (name === undefined || action === undefined) {
      throw wrongUse(`pool takes one of ${Object.keys(ACTIONS).join(', ')} first.`);
    }
    const { values, positionals } = parseWords(rest, OPTIONS, WORDS[name] ?? []);
    const path = existingStorePath(required(values.store, '--store FILE'));
    return withPooling(path, context, async (pooling) => {
      const answer = await action({ pooling, words: positionals, values, terminal: context.terminal });
      context.terminal.print(jsonText(answer));
    });
  },
};

async function withPooling(
  path: string,
  { terminal, bundle }: CommandContext,
  work: (pooling: Pooling) => Promise<void>,
): Promise<ExitCode> {
  const passphrase = await readPassphrase(terminal, 'existing');
  return withHost(bundle, async (host) => {
    await host.openStore(path, passphrase);
    await work(host.requireOpen().pooling);
    return EXIT.done;
  });
}

/** Waits for an exchange; one that failed ends the command. */
async function ended(_started: PoolingProgress, pooling: Pooling, terminal: Terminal): Promise<void> {
  void stopSignal().then(() => pooling.stop());
  const { state, fault, acknowledged } = await pooling.finished();
  if (acknowledged > 0) terminal.note(`${acknowledged} acknowledged by the service.`);
  if (state === 'stopped') {
    throw new CommandFault(
      EXIT.serviceFault,
      'Stopped. What was acknowledged is in the pool; the rest is sent with the next "pool check" or "pool send".',
    );
  }
  if (state === 'failed') throw new CommandFault(EXIT.serviceFault, fault?.message ?? 'The exchange failed.');
}

async function linkStore({ pooling, values, terminal }: Asked): Promise<unknown> {
  if (values.file !== undefined) {
    const text = await readText(values.file);
    const passphrase = await readSecret(terminal, 'LONGHOLD_LINK_PASSPHRASE', 'Passphrase of the link file');
    return pooling.linkByFile(text, passphrase);
  }
  const address = required(values.address, '--address URL or --file LINK');
  const code = await readSecret(terminal, 'LONGHOLD_ENROLMENT_CODE', 'Enrolment code');
  if (enrolmentCodeSchema.safeParse(code).success) return pooling.link(address, code);
  throw wrongUse('An enrolment code is four parts of six signs, such as AAAAAA-BBBBBB-CCCCCC-DDDDDD.');
}

async function makeLinkFile({ pooling, words, terminal }: Asked): Promise<unknown> {
  const path = words[0] ?? '';
  const passphrase = await readSecret(
    terminal,
    'LONGHOLD_LINK_PASSPHRASE',
    'New passphrase of the link file',
  );
  const { text, expires } = await pooling.makeLinkFile(passphrase);
  await writeFile(path, text);
  return { file: path, expires };
}

async function showPreview({ pooling, values }: Asked): Promise<unknown> {
  const preview = await pooling.preview();
  if (preview !== null && values.records !== undefined) {
    const all = { digest: preview.digest, standing: null, search: '', offset: 0, limit: Infinity };
    const { rows } = await pooling.records(all);
    await writeFile(values.records, `${jsonText(rows)}\n`);
  }
  return preview;
}

async function sendConfirmed({ pooling, values, terminal }: Asked): Promise<unknown> {
  const digest = required(values.confirm, '--confirm DIGEST (look at "pool preview" first)');
  await ended(await pooling.startSend(digest), pooling, terminal);
  return pooling.state();
}

async function withdrawPatient({ pooling, words, terminal }: Asked): Promise<unknown> {
  const code = words[0] ?? '';
  await ended(await pooling.withdraw({ code }), pooling, terminal);
  return (await pooling.withdrawals()).find((withdrawal) => withdrawal.code === code) ?? null;
}

function waitingNote(patients: number): string {
  return `The consent of ${patients} patients in the pool is gone at once. If that is right, "pool withdraw-gone ${patients}" withdraws them for good; if not, import the right consents. Until then no record is sent.`;
}

/** The number has to be right: whoever gives it has seen how many it would be. */
async function withdrawAllGone({ pooling, words, terminal }: Asked): Promise<unknown> {
  const waiting = (await pooling.preview())?.withdrawalsToConfirm ?? null;
  if (waiting === null) throw wrongUse('No withdrawals wait for a confirmation.');
  const { digest, patients } = waiting;
  if (words[0] !== String(patients.length)) {
    throw wrongUse(`It is ${patients.length} patients whose consent is gone, not ${words[0] ?? 'none'}.`);
  }
  await ended(await pooling.confirmWithdrawals(digest), pooling, terminal);
  const confirmed = new Set(patients.map(({ pseudonym }) => pseudonym));
  return (await pooling.withdrawals()).filter(({ pseudonym }) => confirmed.has(pseudonym));
}

async function settleConflict({ pooling, words }: Asked): Promise<unknown> {
  const [code = '', keep = ''] = words;
  const conflict = (await pooling.conflicts()).find((one) => one.code === code);
  if (conflict === undefined) throw wrongUse(`There is no conflict about a patient "${code}".`);
  const { pseudonym, mineDigest, theirsVersion } = conflict;
  const kept = oneOf(keep, 'choose', ['mine', 'theirs'] as const);
  return pooling.choose({ pseudonym, keep: kept, mineDigest, theirsVersion });
}

async function publishDefinition({ pooling, words }: Asked): Promise<unknown> {
  const definition = studyDefinitionSchema.safeParse(readJson(await readText(words[0] ?? '')));
  if (!definition.success) {
    const faults = definition.error.issues.map(({ path, message }) => `${path.join('.')}: ${message}`);
    throw new CommandFault(EXIT.faultsInInput, `The study definition has faults:\n${faults.join('\n')}`);
  }
  const { definition: inForce } = await pooling.state();
  return pooling.publish({ basedOn: inForce?.version ?? 0, definition: definition.data });
}

async function readText(path: string): Promise<string> {
  try {
    return await readFile(path, 'utf8');
  } catch (thrown) {
    throw fileFault(path, thrown);
  }
}
