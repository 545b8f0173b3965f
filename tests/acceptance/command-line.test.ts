import { execFile } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';

const PROGRAM = new URL('../../apps/desktop/dist/cli/longhold.cjs', import.meta.url).pathname;
const PASSPHRASE = 'invented passphrase';

interface Ended {
  readonly code: number;
  readonly out: string;
  readonly err: string;
}

let folder: string;
let records: string;
const store = (): string => join(folder, 'clinic.longhold');

function longhold(words: string[], passphrase: string | null = PASSPHRASE): Promise<Ended> {
  const env = { ...process.env };
  delete env['LONGHOLD_PASSPHRASE'];
  if (passphrase !== null) env['LONGHOLD_PASSPHRASE'] = passphrase;
  return new Promise((resolve) => {
    const child = execFile(
      process.execPath,
      [PROGRAM, ...words],
      { env, timeout: 60_000 },
      (error, out, err) => {
        resolve({ code: typeof error?.code === 'number' ? error.code : error === null ? 0 : -1, out, err });
      },
    );
    child.stdin?.end();
  });
}

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'longhold-command-'));
  records = join(folder, 'records');
  await longhold(['demo', '--seed', '4', '--patients', '40', '--out', records]);
});

afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('the command line', () => {
  it('writes an invented study with what was planted in it, the same for the same seed', async () => {
    const again = join(folder, 'again');
    expect((await longhold(['demo', '--seed', '4', '--patients', '40', '--out', again])).code).toBe(0);
    for (const file of ['patients.csv', 'measurements.csv', 'events.csv', 'truth.json']) {
      expect(readFileSync(join(again, file), 'utf8')).toBe(readFileSync(join(records, file), 'utf8'));
    }
    expect(JSON.parse(readFileSync(join(again, 'truth.json'), 'utf8'))).toMatchObject({ invented: true });
  });

  it('says in a dry run what would change, and creates nothing', async () => {
    const ended = await longhold(['import', records, '--store', join(folder, 'dry.longhold'), '--dry-run']);
    expect(ended.code).toBe(0);
    expect(ended.out).toMatch(/patients: \d+ would be added, 0 would be changed/);
    expect(existsSync(join(folder, 'dry.longhold'))).toBe(false);
  });

  it('imports once, and the same files again change nothing', async () => {
    const first = await longhold(['import', records, '--store', store()]);
    expect([first.code, first.out]).toEqual([
      0,
      expect.stringMatching(/^patients: 56 added, 0 changed, 0 unchanged/),
    ]);
    const second = await longhold(['import', records, '--store', store()]);
    expect([second.code, second.out]).toEqual([
      0,
      expect.stringMatching(/^patients: 0 added, 0 changed, 56 unchanged/),
    ]);
  });

  it('names every fault with its place and imports nothing', async () => {
    const faulty = join(folder, 'faulty');
    await longhold(['demo', '--seed', '9', '--patients', '5', '--out', faulty]);
    const file = join(faulty, 'patients.csv');
    writeFileSync(
      file,
      readFileSync(file, 'utf8')
        .replace(/,(fe)?male,/, ',femal,')
        .replace(/,yes\n/, ',perhaps\n'),
    );
    const before = await longhold(['import', records, '--store', store(), '--dry-run']);
    const ended = await longhold(['import', faulty, '--store', store()]);
    expect(ended.code).toBe(1);
    expect(ended.err).toMatch(/patients\.csv.*row 2.*sex.*femal.*female/);
    expect(ended.err).toMatch(/perhaps.*yes/);
    expect(ended.err).toContain('Nothing was imported');
    expect((await longhold(['import', records, '--store', store(), '--dry-run'])).out).toBe(before.out);
  });

  it('writes a report whose numbers are the same on every run', async () => {
    const out = (name: string): string => join(folder, name);
    const ended = await longhold(['report', '--store', store(), '--measure', 'Co-Gn', '--out', out('one')]);
    expect(ended.code).toBe(0);
    await longhold(['report', '--store', store(), '--measure', 'Co-Gn', '--out', out('two')]);
    const numbers = readFileSync(join(out('one'), 'results.json'), 'utf8');
    expect(readFileSync(join(out('two'), 'results.json'), 'utf8')).toBe(numbers);
    expect(JSON.parse(numbers)).toMatchObject({ format: 5, asOf: expect.stringMatching(/^2026-0[1-6]/) });
    expect(readFileSync(join(out('one'), 'report.html'), 'utf8')).toContain('<svg');
  });

  it('takes threshold and rule, and refuses what they cannot be', async () => {
    const report = (...options: string[]): Promise<Ended> =>
      longhold([
        'report',
        '--store',
        store(),
        '--measure',
        'overjet',
        '--out',
        join(folder, 'three'),
        ...options,
      ]);
    expect((await report('--threshold', '2mm', '--rule', 'any-visit')).code).toBe(0);
    expect(JSON.parse(readFileSync(join(folder, 'three', 'results.json'), 'utf8'))).toMatchObject({
      definitions: { question: { threshold: { kind: 'floor', amount: 2 }, rule: 'any-visit' } },
    });
    expect((await report('--threshold', '2deg')).code).toBe(2);
    expect((await report('--rule', 'often')).code).toBe(2);
  });

  it.each([
    ['a protocol that nobody has', ['--protocol', 'NOPE'], /no treated patient.*"NOPE".*Present: \S+/],
    ['a table that is not used', ['--table', 'Demo table'], /--table has no effect without --reference/],
    [
      'a table that is not there',
      ['--reference', 'imported-table', '--table', 'Other'],
      /no growth table "Other" of Co-Gn. Present: Demo table\./,
    ],
    ['an option given twice', ['--sex', 'male', '--sex', 'female'], /--sex is given more than once/],
    ['a paper without a PDF', ['--paper', 'Letter'], /--paper has no effect without --pdf/],
    ['a day to come', ['--as-of', '2199-01-01'], /--as-of takes a day up to today/],
    ['a film factor of an angle', ['--film-factor', '0.9', '--measure', 'SNB'], /SNB is no length on films/],
    [
      'a growth reference of what does not grow',
      ['--reference', 'built-in-table', '--measure', 'overjet'],
      /overjet does not grow/,
    ],
    [
      'a growth clock of what does not grow',
      ['--growth-clock', 'age', '--measure', 'overjet'],
      /overjet does not grow/,
    ],
  ])('refuses %s instead of passing it over', async (_, options, words) => {
    const out = join(folder, 'refused');
    const ended = await longhold(['report', '--store', store(), '--out', out, ...options]);
    expect([ended.code, ended.out]).toEqual([2, '']);
    expect(ended.err).toMatch(words);
    expect(existsSync(out)).toBe(false);
  });

  it('takes a table that is there', async () => {
    const asked = ['--reference', 'imported-table', '--table', 'Demo table', '--film-factor', '1'];
    const out = join(folder, 'table');
    expect((await longhold(['report', '--store', store(), '--out', out, ...asked])).code).toBe(0);
  });

  it('refuses an option given twice and a word too many in every command', async () => {
    const twice = await longhold(['demo', '--seed', '4', '--seed=5', '--out', join(folder, 'twice')]);
    expect([twice.code, twice.err]).toEqual([2, expect.stringContaining('--seed is given more than once')]);
    expect((await longhold(['import', records, '--store', store(), '--store', 'x'])).code).toBe(2);
    expect((await longhold(['help', 'report', 'serve'])).code).toBe(2);
  });

  it('refuses a wrong passphrase and leaves the store as it is', async () => {
    const before = readFileSync(store());
    const ended = await longhold(['import', records, '--store', store()], 'another passphrase');
    expect(ended.code).toBe(3);
    expect(ended.err).toContain('passphrase does not open');
    expect(readFileSync(store()).equals(before)).toBe(true);
  });

  it('never takes a passphrase as an argument, and needs one from somewhere', async () => {
    const argument = await longhold(['import', records, '--store', store(), '--passphrase', 'x'], null);
    expect([argument.code, argument.out]).toEqual([2, '']);
    expect((await longhold(['import', records, '--store', store()], null)).code).toBe(3);
  });

  it('says what is wrong with a command line, a folder or a store that is not there', async () => {
    expect((await longhold(['imprt'])).code).toBe(2);
    expect((await longhold(['import', join(folder, 'nowhere'), '--store', store()])).code).toBe(4);
    expect(
      (
        await longhold([
          'report',
          '--store',
          join(folder, 'none.longhold'),
          '--measure',
          'Co-Gn',
          '--out',
          folder,
        ])
      ).code,
    ).toBe(3);
  });

  it('explains itself', async () => {
    const help = await longhold(['--help']);
    expect(help.code).toBe(0);
    for (const command of ['import', 'report', 'serve', 'demo']) expect(help.out).toContain(command);
  });
});
