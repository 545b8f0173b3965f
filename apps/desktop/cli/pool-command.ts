import { readFile } from 'node:fs/promises';
import { enrolmentCodeSchema, roleSchema } from '@longhold/core/exchange';
import { studyDefinitionSchema } from '@longhold/core/contribution';
import type { PoolingProgress } from '../host/pooling/answers';
import type { Pooling } from '../host/pooling/pooling';
import { sendingSchema, type Sending } from '../host/store';
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
  link --address URL [--sends records|statistics]
                             enrols this store; the code comes from LONGHOLD_ENROLMENT_CODE or is asked for
  link --file LINK           the same by a link file of the clinic's other desktop
  link-file LINK             makes such a file; it works once, for seven days
  check                      asks the service what is new; withdraws first where consent is gone
  sends                      whether records leave or statistics only, and what the other would mean
  sends records|statistics --confirm DIGEST
                             changes over, as shown under that digest: what is at the service goes first
  preview [--records OUT]    what would leave, in words and numbers; all records into the file OUT
  preview [--statistics OUT] the same of a clinic that sends statistics; the whole of them into OUT
  send --confirm DIGEST      sends what the preview with that digest shows
  send --confirm DIGEST --in-place-of HELD
                             the same, in place of the statistics that another desktop sent
  take-out HELD              takes the statistics with the digest HELD out of the pool
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
  remove-member MEMBER       takes a member out of the study for good, with all that it sent; prints the
                             receipt; for the coordinator
  unlink                     ends this store's access; what is in the pool stays there

Answers are JSON on the standard output. The passphrase of the store comes from
LONGHOLD_PASSPHRASE, that of a link file from LONGHOLD_LINK_PASSPHRASE, or they are asked for.`;

const OPTIONS = {
  store: { type: 'string' },
  address: { type: 'string' },
  file: { type: 'string' },
  records: { type: 'string' },
  statistics: { type: 'string' },
  sends: { type: 'string' },
  'in-place-of': { type: 'string' },
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
  'take-out': ['HELD, the digest of the statistics,'],
  withdraw: ['CODE of the patient'],
  'withdraw-gone': ['NUMBER of patients whose consent is gone'],
  choose: ['CODE of the patient', 'mine or theirs'],
  publish: ['DEFINITION, a JSON file,'],
  invite: ['ROLE'],
  revoke: ['DEVICE'],
  'remove-member': ['MEMBER'],
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
  sends: changeSending,
  preview: showPreview,
  send: sendConfirmed,
  'take-out': async ({ pooling, words, terminal }) => {
    await ended(await pooling.sending.takeOut(words[0] ?? ''), pooling, terminal);
    return pooling.state();
  },
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
  'remove-member': ({ pooling, words }) => pooling.ask('removeMember', { member: words[0] ?? '' }),
  unlink: async ({ pooling, terminal }) => {
    const unlinked = await pooling.unlink();
    if (unlinked.accessLeft !== null) terminal.note(unlinked.accessLeft);
    return unlinked;
  },
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
    const { values, positionals } = parseWords(rest, OPTIONS, wordsOf(name, rest));
    const path = existingStorePath(required(values.store, '--store FILE'));
    return withPooling(path, context, async (pooling) => {
      const answer = await action({ pooling, words: positionals, values, terminal: context.terminal });
      context.terminal.print(jsonText(answer));
    });
  },
};

/** The words that an action takes; "sends" says how things stand without one and changes over with one. */
function wordsOf(name: string, rest: readonly string[]): readonly string[] {
  const [first] = rest;
  if (name === 'sends' && first !== undefined && !first.startsWith('-')) return ['records or statistics'];
  return WORDS[name] ?? [];
}

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
  const { state, fault, said } = await pooling.finished();
  for (const sentence of said) terminal.note(sentence);
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
  const typed = await readSecret(terminal, 'LONGHOLD_ENROLMENT_CODE', 'Enrolment code');
  // As it comes out of a message: with spaces around it, or in small letters.
  const code = typed.trim().toUpperCase();
  const sends = sendingOf(values.sends ?? 'records', '--sends');
  if (enrolmentCodeSchema.safeParse(code).success) return pooling.link(address, code, sends);
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

function sendingOf(word: string, what: string): Sending {
  return oneOf(word, what, sendingSchema.options);
}

async function changeSending({ pooling, words, values, terminal }: Asked): Promise<unknown> {
  const { sends } = await pooling.state();
  if (words[0] === undefined) {
    const other = sends === 'statistics' ? 'records' : 'statistics';
    return { sends, other: await pooling.sending.plan(other) };
  }
  const to = sendingOf(words[0], 'sends');
  if (values.confirm === undefined) return { sends, other: await pooling.sending.plan(to) };
  await ended(await pooling.sending.change({ to, digest: values.confirm }), pooling, terminal);
  return pooling.state();
}

async function showPreview({ pooling, values }: Asked): Promise<unknown> {
  const { sends } = await pooling.state();
  if (sends === 'statistics') return showStatistics(pooling, values);
  if (values.statistics !== undefined) throw wrongUse('This clinic sends records; use --records OUT.');
  const preview = await pooling.preview();
  if (preview !== null && values.records !== undefined) {
    const all = { digest: preview.digest, standing: null, search: '', offset: 0, limit: Infinity };
    const { rows } = await pooling.records(all);
    await writeFile(values.records, `${jsonText(rows)}\n`);
  }
  return preview;
}

async function showStatistics(pooling: Pooling, values: Asked['values']): Promise<unknown> {
  if (values.records !== undefined) throw wrongUse('This clinic sends statistics; use --statistics OUT.');
  const preview = await pooling.sending.preview();
  if (preview !== null && values.statistics !== undefined) {
    await writeFile(values.statistics, `${await pooling.sending.text(preview.digest)}\n`);
  }
  return preview;
}

async function sendConfirmed({ pooling, values, terminal }: Asked): Promise<unknown> {
  const digest = required(values.confirm, '--confirm DIGEST (look at "pool preview" first)');
  const { sends } = await pooling.state();
  const started =
    sends === 'statistics'
      ? await pooling.sending.send({ digest, inPlaceOf: values['in-place-of'] ?? null })
      : await pooling.startSend(digest);
  await ended(started, pooling, terminal);
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
