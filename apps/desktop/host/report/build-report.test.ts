import { createHash } from 'node:crypto';
import {
  answerOutcome,
  prepareQuestion,
  sensitivity,
  type OutcomeAnswer,
  type OutcomeQuestionInput,
} from '@longhold/core/answers';
import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import type { PoolBeside } from '../pooling/pool-beside';
import { STROBE_ITEMS } from './strobe-items';
import { buildReport, resultsSchema, studyFingerprint, type Report, type ReportInput } from './index';

const demo = generateDemo({ seed: 7, patients: 60 });
const ask = (question: OutcomeQuestionInput): OutcomeAnswer =>
  answerOutcome(demo.study, { asOf: demo.today, resamples: 50, ...question });
const NOT_LINKED: PoolBeside = { kind: 'none', why: 'not-linked' };
const report = (
  answer: OutcomeAnswer,
  source: Partial<ReportInput['generatedFor']> = {},
  pool = NOT_LINKED,
): Report =>
  buildReport({
    pool,
    answer,
    sensitivity: sensitivity(prepareQuestion(demo.study, answer.question)),
    version: '0.1.0',
    fingerprint: studyFingerprint(demo.study),
    generatedFor: { storeName: 'demo', demo: true, ...source },
  });

/** The report on a store that holds nobody. */
function emptyPage(): string {
  return buildReport({
    answer: answerOutcome([], {}),
    sensitivity: sensitivity(prepareQuestion([], {})),
    version: '0.1.0',
    fingerprint: studyFingerprint([]),
    generatedFor: { storeName: 'empty', demo: false },
    pool: NOT_LINKED,
  }).html;
}

const answer = ask({});
const built = report(answer);

describe('report.html', () => {
  it('opens with the answers in words and says that demo data are invented', () => {
    const { sentences } = resultsSchema.parse(JSON.parse(built.json));
    const { retention, survival, separation, missing, ...further } = sentences;
    const placeOf = (sentence: string): number => built.html.indexOf(sentence.replaceAll("'", '&#39;'));
    for (const sentence of [retention, survival, separation, missing]) {
      expect(placeOf(sentence)).toBeGreaterThan(0);
      expect(placeOf(sentence)).toBeLessThan(built.html.indexOf('<svg'));
    }
    for (const sentence of Object.values(further)) expect(placeOf(sentence)).toBeGreaterThan(0);
    expect(built.html).toContain('Invented data.');
    expect(report(answer, { demo: false }).html).not.toContain('Invented data.');
  });

  it('loads nothing, runs nothing, and its policy names its own style sheet', () => {
    expect(built.html).not.toMatch(
      /<script|<link|<img|<iframe|\ssrc=|\shref="(?!#)|url\((?!#)|@import|\sstyle=|\son[a-z]+=/i,
    );
    const style = /<style>([^]*?)<\/style>/.exec(built.html)?.[1] ?? '';
    const hash = createHash('sha256').update(style).digest('base64');
    expect(built.html).toContain(`default-src &#39;none&#39;; style-src &#39;sha256-${hash}&#39;`);
  });

  it('holds twelve figures with titles, and the cautions', () => {
    expect(built.html.match(/<svg /g)).toHaveLength(12);
    expect(built.html.match(/<svg [^>]*role="img"[^>]*>\s*<title>/g)).toHaveLength(12);
    const words = built.html.replace(/\s+/g, ' ');
    expect(words).toContain('not a diagnosis and not a medical device');
    expect(words).toContain('only when a licensed clinician justifies it for that patient');
  });

  it('covers the 22 items of STROBE, each with its place in the page or left to the authors', () => {
    expect(STROBE_ITEMS.map(({ number }) => number)).toEqual(Array.from({ length: 22 }, (_, i) => i + 1));
    const pages = [built.html, emptyPage()];
    for (const { anchors } of STROBE_ITEMS)
      for (const anchor of anchors) for (const page of pages) expect(page).toContain(` id="${anchor}"`);
  });

  it.each([
    ['the question in full', 'question', '&quot;threshold&quot;'],
    ['what each group is', 'definitions', 'CS1 and CS2 before the peak of growth'],
    ['where gains are divided', 'definitions', '(the median) and more count as larger'],
    ['how many are in each analysis', 'flow', 'in the models of the lasting gain'],
    ['counts of participants', 'participants', 'Treatment protocol'],
    ['the age at the end of treatment', 'participants', 'Age at the end of active treatment'],
    ['how long they were followed, and by which convention', 'participants', 'not the reverse Kaplan-Meier'],
    ['numbers behind the models', 'separation', 'gains of'],
    ['limits of both incidences', 'competing', 'Treated again first'],
    ['limits of survival in the sensitivity table', 'sensitivity', '; at risk '],
    ['numbers of the retained shares in it', 'sensitivity', '; n '],
    ['the kept share with one patient left out', 'sensitivity', 'left out the retained share at year'],
    [
      'survival with one patient left out',
      'sensitivity',
      'left out the share who still have the gain at year',
    ],
  ])('gives %s where the checklist says so', (_, anchor, words) => {
    expect(STROBE_ITEMS.flatMap(({ anchors }) => anchors)).toContain(anchor);
    const start = built.html.indexOf(` id="${anchor}"`);
    const section = built.html.slice(start, built.html.indexOf('</section>', start)).replace(/\s+/g, ' ');
    expect(section).toContain(words);
  });

  it('says where gains are divided beside the curves of small and large gains', () => {
    const { html } = report(ask({ groupBy: 'gain' }));
    const start = html.indexOf(' id="groups"');
    expect(html.slice(start, html.indexOf('</section>', start))).toContain('(the median) and more count');
  });

  it('claims in the methods paragraph of an empty store nothing that was not done', () => {
    const page = emptyPage();
    const paragraph = page.slice(page.indexOf('<blockquote>'), page.indexOf('</blockquote>'));
    expect(paragraph).not.toMatch(/Fieller|resamples|again|Turnbull/);
  });

  it('names every patient who is left out', () => {
    for (const { codes } of answer.leftOut) for (const code of codes) expect(built.html).toContain(code);
  });

  it('lists many patients in several tables, each of which a browser can print, and loses none', () => {
    const [one] = answer.patients;
    if (one === undefined) throw new Error('no patient');
    const patients = Array.from({ length: 1203 }, (_, i) => ({ ...one, code: `Z-${1000 + i}` }));
    const { html } = report({ ...answer, patients });
    for (const caption of ['Z-1000 to Z-1499', 'Z-1500 to Z-1999', 'Z-2000 to Z-2202'])
      expect(html).toContain(`Treated patients ${caption}`);
    expect(html.match(/<th scope="row" class="code">Z-\d+<\/th>/g)).toHaveLength(1203);
  });

  it('leaves out figures and tables that would be empty, for no patient and for one', () => {
    const [one] = demo.study.filter(
      ({ patient, visits }) => patient.group === 'treated' && visits.length > 3,
    );
    const few = (study: typeof demo.study): string =>
      buildReport({
        answer: answerOutcome(study, { asOf: demo.today, resamples: 50 }),
        sensitivity: sensitivity(prepareQuestion(study, { asOf: demo.today })),
        version: '0.1.0',
        fingerprint: studyFingerprint(study),
        generatedFor: { storeName: 'demo', demo: true },
        pool: NOT_LINKED,
      }).html;
    const nobody = few([]);
    expect(nobody).not.toContain('<svg');
    expect(nobody).toContain('No patient is among those asked about.');
    const single = few(one === undefined ? [] : [one]);
    for (const title of ['Two models of the gain', 'Lasting gain with one thing changed at a time'])
      for (const html of [nobody, single]) expect(html).not.toContain(title);
  });

  it('shows every text as text, whatever is in it', () => {
    const { html } = report(answer, { storeName: '<script>alert("x")</script> & \'co\'' });
    expect(html).toContain('&lt;script&gt;alert(&quot;x&quot;)&lt;/script&gt; &amp; &#39;co&#39;');
    expect(html).not.toContain('<script');
  });

  it('is the same text for the same records and question', () => {
    expect(report(ask({}))).toEqual(built);
  });

  it.each([
    ['a measure that does not grow', { measure: 'overjet' }],
    ['an absolute floor', { threshold: { kind: 'floor', amount: 2 } }],
    ['the first visit below', { rule: 'any-visit' }],
    ['a measure without a reference table', { measure: 'Wits', reference: 'built-in-table' }],
    ['a filter that nobody passes', { filter: { protocol: 'NONE' } }],
  ] satisfies [string, OutcomeQuestionInput][])('can be made for %s', (_, question) => {
    const { html, json } = report(ask(question));
    expect(html).not.toMatch(/NaN|undefined(?! )|\[object|Infinity/);
    resultsSchema.parse(JSON.parse(json));
  });
});

describe('results.json', () => {
  const results = resultsSchema.parse(JSON.parse(built.json));

  it('holds the numbers of the answer to the last digit', () => {
    expect(results.retained.map(({ estimate }) => estimate)).toEqual(
      answer.retained.map(({ share }) => share?.estimate ?? null),
    );
    expect(results.survival?.intervalCensored.atYears).toEqual(answer.survival?.turnbull.atYears);
    expect(results.flow).toEqual(answer.flow);
  });

  it('reads survival at 1, 2, 3 and 5 years', () => {
    expect(results.survival?.intervalCensored.atYears.map(({ year }) => year)).toEqual(
      expect.arrayContaining([1, 2, 3, 5]),
    );
  });

  it('lets the counts be computed again from its patients', () => {
    const { verdict, lossLeft, lossRight, gain } = results.patients;
    for (const [which, count] of Object.entries(results.statusCounts)) {
      expect(verdict.filter((own) => own === which)).toHaveLength(count);
    }
    const losses = lossLeft.filter((left, i) => left !== null && lossRight[i] !== null);
    expect(losses).toHaveLength(results.survival?.losses ?? NaN);
    const gains = gain.flatMap((own) => own ?? []);
    expect(gains.reduce((sum, own) => sum + own, 0) / gains.length).toBeCloseTo(results.gain?.mean ?? NaN, 9);
  });

  it('keeps what grows with the number of patients in columns of equal length', () => {
    const lengths = (columns: Readonly<Record<string, readonly unknown[]>>): number[] => [
      ...new Set(Object.values(columns).map((column) => column.length)),
    ];
    expect(lengths(results.patients)).toEqual([answer.patients.length]);
    expect(lengths(results.visits)).toEqual([answer.patients.flatMap(({ visits }) => visits).length]);
    expect(lengths(results.gains)).toEqual([answer.gains.length]);
    expect(lengths(results.gaveWay.readings)).toEqual([answer.rows.gaveWay.length]);
    expect(lengths(results.unsized)).toHaveLength(1);
  });

  it('holds no calendar date but the day up to which the records are read', () => {
    const dates = new Set(built.json.match(/\d{4}-\d{2}-\d{2}/g));
    expect([...dates]).toEqual([demo.today]);
  });
});

describe('the fingerprint', () => {
  it('is the same whatever the order of the records, and another for one changed value', () => {
    const reversed = [...demo.study]
      .reverse()
      .map((history) => ({ ...history, visits: [...history.visits].reverse() }));
    expect(studyFingerprint(reversed)).toBe(studyFingerprint(demo.study));
    const [first, ...others] = demo.study;
    if (first === undefined) throw new Error('empty study');
    const changed = {
      ...first,
      patient: { ...first.patient, consentPooling: !first.patient.consentPooling },
    };
    expect(studyFingerprint([changed, ...others])).not.toBe(studyFingerprint(demo.study));
  });

  it('is the SHA-256 of the records as canonical JSON', () => {
    /* printf '' | sha256sum (GNU coreutils): the fingerprint of no records. */
    expect(studyFingerprint([])).toBe(
      'sha256:e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855',
    );
  });
});
