import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { createRandom, type RandomStream } from '@longhold/core/numeric';
import { OpenStudy } from '@longhold/desktop/host/open-study';
import { createStore, openStore } from '@longhold/desktop/host/store';
import { importOf, PASSPHRASE, QUICK_COSTS } from '@longhold/desktop/host/store/store.fixture';
import { DEFINITION } from '../pooling/programs';
import type { ChildPrograms } from './child-programs';
import type { KillsGiven } from './run-kills';
import { PoolPromises } from './pool-promises';
import { KILL_PLACES, poolLinesOf, type KillPoint, type PoolJob } from './programs/pool-ledger';
import { patientsFrom } from './programs/pool-patients';
import { askService, freePort, runServiceCommand, startService, type ServiceProcess } from './sync-service';

/** What rounds of killing a clinic's program have seen. */
export interface PoolKillFigures {
  rounds: number;
  /** Clinics whose pooling was cut by a kill; several share a process. */
  cuts: number;
  /** Rounds in which the program ended itself at a named place, by place. */
  readonly at: Record<KillPoint['place'], number>;
  /** Rounds in which it was killed at a random moment. */
  atRandom: number;
  /** Rounds in which the service was killed as well. */
  serviceToo: number;
  /** Items that were in the outbox right after a kill. */
  waiting: number;
  /** Items that the service had stored, and the clinic did not know it yet. */
  unknownStored: number;
  /** Records in the pool, and patients withdrawn for good, at the end of each store. */
  records: number;
  withdrawn: number;
}

/** Tests and programs of this folder are started from the root. */
const MIGRATIONS_FOLDER = join(process.cwd(), 'apps', 'desktop', 'host', 'store', 'migrations');
const ROUNDS_OF_STORE = 40;
/** Starting a process costs more than all that is done in it, so each kill is that of several clinics at once. */
const CLINICS = 5;
const PATIENTS = 14;
const FIRST_DAY = Date.UTC(2026, 5, 1);
/** Days between two rounds, so that tokens are replaced in every second one. */
const DAYS = 17;
const MILLISECONDS_A_DAY = 86_400_000;
/** Milliseconds: the longest that the program runs after it began, and that a named place is waited for. */
const RUN = 400;
const PATIENCE = 8_000;
/** How often a place is passed before the program ends itself, at most. */
const MOST_PASSED: Readonly<Record<KillPoint['place'], number>> = {
  request: 30,
  answer: 30,
  statement: 600,
  commit: 60,
  committed: 60,
};

/** A clinic's store, and a further device of the clinic, to see what the service holds of it. */
interface Clinic {
  readonly store: string;
  readonly token: string;
  readonly member: string;
  readonly promises: PoolPromises;
}

/** Clinics and a service that are killed over and over. */
interface Pool {
  readonly environment: Readonly<Record<string, string>>;
  readonly port: number;
  readonly clinics: readonly Clinic[];
  service: ServiceProcess;
  now: Date;
}

/**
 * Kills a clinic's program, which is the program's own code on a store on disk, with SIGKILL at named places and at
 * random moments, in some rounds the service as well, and looks after each at what either holds ({@link PoolPromises}).
 * At the end of each store everything is sent and compared whole. Throws where a promise was broken.
 */
export async function killClinicOverAndOver(given: KillsGiven): Promise<PoolKillFigures> {
  const random = createRandom(given.seed);
  const figures: PoolKillFigures = {
    rounds: 0,
    cuts: 0,
    at: { request: 0, answer: 0, statement: 0, commit: 0, committed: 0 },
    atRandom: 0,
    serviceToo: 0,
    waiting: 0,
    unknownStored: 0,
    records: 0,
    withdrawn: 0,
  };
  while (figures.rounds < given.rounds) {
    const pool = await begin(given.newStore(), given.folder);
    try {
      for (let round = 0; round < ROUNDS_OF_STORE && figures.rounds < given.rounds; round++) {
        await oneRound(pool, given.programs, random, figures);
      }
      for (const clinic of pool.clinics) {
        const whole = await withStore(pool, clinic, (open) =>
          clinic.promises.sendAllAndCompare(open, { ...clinic, port: pool.port }),
        );
        figures.records += whole.records;
        figures.withdrawn += whole.withdrawn;
      }
    } catch (thrown) {
      throw new Error(`round ${figures.rounds + 1}, seed ${given.seed}`, { cause: thrown });
    } finally {
      await pool.service.kill();
    }
    const { exitCode, output } = await runServiceCommand(pool.environment, ['verify']);
    if (exitCode !== 0) throw new Error(`after the kills the service's store is not whole: ${output}`);
    given.say?.(JSON.stringify(figures));
  }
  return figures;
}

async function oneRound(
  pool: Pool,
  programs: ChildPrograms,
  random: RandomStream,
  figures: PoolKillFigures,
): Promise<void> {
  pool.now = new Date(pool.now.getTime() + DAYS * MILLISECONDS_A_DAY);
  await killOnce(pool, programs, random, figures);
  for (const clinic of pool.clinics) {
    const seen = await withStore(pool, clinic, (open) =>
      clinic.promises.lookAround(open, { ...clinic, port: pool.port }),
    );
    figures.waiting += seen.waiting;
    figures.unknownStored += seen.unknownStored;
  }
  figures.cuts += pool.clinics.length;
  figures.rounds++;
}

async function begin(environment: Pool['environment'], folder: string): Promise<Pool> {
  const port = await freePort();
  const service = await startService({
    port,
    environment: { LONGHOLD_SYNC_ENROLMENTS_A_MINUTE: '1000', ...environment },
  });
  const coordinator = String((await askService(port, 'enrol', { code: service.code }))['token']);
  await askService(port, 'publish', { basedOn: 0, definition: DEFINITION }, coordinator);
  const now = new Date(FIRST_DAY);
  const clinics: Clinic[] = [];
  for (let clinic = 0; clinic < CLINICS; clinic++) {
    const store = join(folder, `${randomUUID()}.longhold`);
    clinics.push(await newClinic(store, { port, coordinator, now }));
  }
  return { environment, port, clinics, service, now };
}

async function newClinic(
  store: string,
  { port, coordinator, now }: { readonly port: number; readonly coordinator: string; readonly now: Date },
): Promise<Clinic> {
  const invite = (member: string | null) =>
    askService(port, 'invite', { role: 'centre', member }, coordinator);
  const { code, member } = await invite(null);
  const looking = await invite(String(member));
  const { token } = await askService(port, 'enrol', { code: looking['code'] });
  const created = await createStore({ ...openingOf(store), scryptCosts: QUICK_COSTS });
  await created.applyImport(importOf([], patientsFrom(0, PATIENTS)));
  const open = new OpenStudy(created, null, () => now, 'test');
  await open.pooling.link(`http://127.0.0.1:${port}`, String(code));
  await open.close();
  return { store, token: String(token), member: String(member), promises: new PoolPromises() };
}

function openingOf(path: string): Parameters<typeof openStore>[0] {
  return { path, passphrase: PASSPHRASE, migrationsFolder: MIGRATIONS_FOLDER };
}

/** Opens the clinic's store as it was left, which checks all of it, and closes it afterwards. */
async function withStore<T>(
  { now }: Pool,
  { store }: Clinic,
  work: (open: OpenStudy) => Promise<T>,
): Promise<T> {
  const open = new OpenStudy(await openStore(openingOf(store)), null, () => now, 'test');
  try {
    return await work(open);
  } finally {
    await open.close();
  }
}

async function killOnce(
  pool: Pool,
  programs: ChildPrograms,
  random: RandomStream,
  figures: PoolKillFigures,
): Promise<void> {
  const point = random.integer(3) === 0 ? null : someWhere(random);
  const job: PoolJob = {
    stores: pool.clinics.map(({ store }) => store),
    migrationsFolder: MIGRATIONS_FOLDER,
    seed: 1 + random.integer(1_000_000),
    now: pool.now.toISOString(),
    point,
  };
  const killsService = random.integer(5) === 0;
  const delay = random.uniform() * RUN;
  const clinic = programs.start('pool-until-killed', [JSON.stringify(job)]);
  await Promise.race([saidReady(clinic.process.stdout), clinic.ended]);
  const killing = killsService ? pause(delay).then(() => pool.service.kill()) : Promise.resolve();
  // A program that comes to its place ends itself before; one whose service is gone may never come there.
  const patience = point === null || killsService ? delay : PATIENCE;
  const cameThere = await Promise.race([pause(patience, false), clinic.ended.then(() => true)]);
  clinic.process.kill('SIGKILL');
  const { output, errors, exitCode } = await clinic.ended;
  if (exitCode !== null) throw new Error(`the clinic's program ended by itself: ${errors}`);
  for (const line of poolLinesOf(output)) {
    if ('clinic' in line) pool.clinics[line.clinic]?.promises.hear(line);
  }
  await killing;
  if (killsService) {
    pool.service = await startService(pool);
    figures.serviceToo++;
  }
  if (point === null || !cameThere) figures.atRandom++;
  else figures.at[point.place]++;
}

function someWhere(random: RandomStream): KillPoint {
  const place = KILL_PLACES[random.integer(KILL_PLACES.length)] ?? 'statement';
  return { place, count: 1 + random.integer(MOST_PASSED[place]) };
}

function saidReady(stream: NodeJS.ReadableStream | null): Promise<void> {
  return new Promise((resolve) => stream?.once('data', () => resolve()));
}
