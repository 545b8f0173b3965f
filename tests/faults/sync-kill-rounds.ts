import { createHash, randomUUID } from 'node:crypto';
import { statSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { createRandom, type RandomStream } from '@longhold/core/numeric';
import { tombstoneText } from '@longhold/core/exchange';
import { INVENTED_DEFINITION } from '../../apps/sync/src/service.fixture';
import type { ChildPrograms } from './child-programs';
import type { KillsGiven } from './run-kills';
import { patientsAfter, readLedger, type LedgerBatch, type LedgerPatient } from './programs/sync-ledger';
import { pulledOf, type Pulled } from './pulled';
import { enrolClinic, freePort, runServiceCommand, startService, type ServiceProcess } from './sync-service';

/** What rounds of killing have seen. */
export interface KillFigures {
  rounds: number;
  /** Batches that were answered, and records and withdrawals in them. */
  answered: number;
  items: number;
  /** Batches under way at a kill: stored whole, or not at all. */
  storedUnanswered: number;
  notStored: number;
  /** Rounds in which the database crashed before the two were killed. */
  databaseCrashes: number;
}

const ROUNDS_OF_STORE = 50;
/** Milliseconds: the longest that both run before the first kill, and between the two kills. */
const RUN = 150;
const BETWEEN = 40;
/** The database crashes in one round of so many, where it is a process of its own. */
const ROUNDS_A_CRASH = 4;

/** One study that is killed over and over. */
interface Study {
  readonly environment: Readonly<Record<string, string>>;
  readonly port: number;
  readonly token: string;
  readonly member: string;
  readonly ledger: string;
  service: ServiceProcess;
}

/**
 * Kills the service and a sending clinic with SIGKILL at random moments, again and again, and looks after each: what was
 * acknowledged is there once, what was withdrawn is not, a batch under way is there whole or not at all. Throws where
 * that does not hold.
 */
export async function killOverAndOver(given: KillsGiven): Promise<KillFigures> {
  const random = createRandom(given.seed);
  const figures: KillFigures = {
    rounds: 0,
    answered: 0,
    items: 0,
    storedUnanswered: 0,
    notStored: 0,
    databaseCrashes: 0,
  };
  while (figures.rounds < given.rounds) {
    const study = await begin(given.newStore(), join(given.folder, `${randomUUID()}.ledger`));
    try {
      for (let round = 0; round < ROUNDS_OF_STORE && figures.rounds < given.rounds; round++) {
        const crashes = given.crashDatabase !== undefined && random.integer(ROUNDS_A_CRASH) === 0;
        await killBoth(study, given.programs, random, crashes ? given.crashDatabase : undefined);
        if (crashes) figures.databaseCrashes++;
        study.service = await startService(study);
        await lookAround(study, figures);
        figures.rounds++;
      }
    } catch (thrown) {
      throw new Error(`round ${figures.rounds + 1}, seed ${given.seed}`, { cause: thrown });
    } finally {
      await study.service.kill();
    }
    const answers = readLedger(study.ledger).flatMap(({ answer }) => answer ?? []);
    figures.answered += answers.length;
    figures.items += answers.reduce((sum, { items }) => sum + items.length, 0);
    const { exitCode, output } = await runServiceCommand(study.environment, ['verify']);
    if (exitCode !== 0) throw new Error(`after the kills the store is not whole: ${output}`);
    given.say?.(JSON.stringify(figures));
  }
  return figures;
}

async function begin(environment: Study['environment'], ledger: string): Promise<Study> {
  const port = await freePort();
  const service = await startService({ port, environment });
  const { token, member } = await enrolClinic(port, service.code, INVENTED_DEFINITION);
  return { environment, port, token, member, ledger, service };
}

async function killBoth(
  study: Study,
  programs: ChildPrograms,
  random: RandomStream,
  crashDatabase: (() => void) | undefined,
): Promise<void> {
  const { port, token, ledger } = study;
  const seed = String(1 + random.integer(1_000_000));
  const clinic = programs.start('send-until-killed', [String(port), token, ledger, seed]);
  const written = (): number => statSync(ledger, { throwIfNoEntry: false })?.size ?? 0;
  const before = written();
  // The clinic's program takes a while to start; the moment is counted from its first batch or repeat.
  for (
    let waited = 0;
    waited < 200 && written() <= before + 1 && clinic.process.exitCode === null;
    waited++
  ) {
    await pause(5);
  }
  await pause(random.uniform() * RUN);
  if (crashDatabase !== undefined) {
    crashDatabase();
    await pause(random.uniform() * RUN);
  }
  const kills = [
    () => study.service.kill(),
    async () => {
      clinic.process.kill('SIGKILL');
      const { errors } = await clinic.ended;
      if (errors !== '') throw new Error(`the clinic's program failed: ${errors}`);
    },
  ];
  if (random.integer(2) === 0) kills.reverse();
  const [first, second] = kills;
  const firstDone = first?.();
  if (random.integer(3) > 0) await pause(random.uniform() * BETWEEN);
  await Promise.all([firstDone, second?.()]);
}

/** Compares what the service gives out with what the clinic wrote down. */
async function lookAround(study: Study, figures: KillFigures): Promise<void> {
  const batches = readLedger(study.ledger);
  const there = await pulledOf(study.port, study.token);
  const answered = batches.filter(({ answer }) => answer !== null);
  const open = batches.filter(({ answer }) => answer === null);
  const expected = patientsAfter(answered);
  for (const batch of open) {
    const without = onlyOf(batch, patientsAfter(answered));
    const withIt = onlyOf(batch, patientsAfter([...answered, batch]));
    if (agrees(withIt, there, study)) {
      figures.storedUnanswered++;
      for (const [pseudonym, patient] of withIt) expected.set(pseudonym, patient);
    } else if (agrees(without, there, study)) figures.notStored++;
    else throw new Error('a batch was stored in part');
  }
  if (!agrees(expected, there, study)) throw new Error('an acknowledged change is not as it was answered');
  const live = [...expected.values()].filter(({ version }) => version !== null).length;
  if (there.records.size !== live) throw new Error('the service holds records that nobody sent');
}

function onlyOf({ input }: LedgerBatch, patients: Map<string, LedgerPatient>): Map<string, LedgerPatient> {
  const names = input.items.map((item) => (item.kind === 'record' ? item.record.pseudonym : item.pseudonym));
  return new Map(
    names.map((pseudonym) => [pseudonym, patients.get(pseudonym) ?? { version: null, sequence: -1 }]),
  );
}

/** A patient with the number -1 is one of whom the service knows nothing. */
function agrees(patients: Map<string, LedgerPatient>, there: Pulled, { member }: Study): boolean {
  return [...patients].every(([pseudonym, { version, sequence }]) => {
    const record = there.records.get(pseudonym);
    const tombstone = createHash('sha256').update(tombstoneText(member, pseudonym)).digest('hex');
    if (there.tombstones.has(tombstone)) return version === null && sequence !== -1 && record === undefined;
    if (sequence === -1) return record === undefined;
    if (record === undefined || record.version !== version) return false;
    return sequence === null || record.sequence === sequence;
  });
}
