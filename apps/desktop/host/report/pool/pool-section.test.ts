import { answerOutcome, prepareQuestion, sensitivity } from '@longhold/core/answers';
import { definitionQuestion, definitionTables } from '@longhold/core/contribution';
import type { ViewedMeasure } from '@longhold/core/pooled';
import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import { buildReport, resultsSchema } from '../index';
import type { NoAnswerReason, PoolBeside } from '../../pooling/pool-beside';
import { besideOf, CENTRES, inventedPool } from './pool.fixture';
import { poolOfMeasure } from './pool-of-measure';
import { poolSection } from './pool-section';
import { poolSentence } from './pool-words';

const demo = generateDemo({ seed: 7, patients: 60 });
const QUESTION = { asOf: demo.today, resamples: 50 };
const answer = answerOutcome(demo.study, QUESTION);
const pool = inventedPool();
const [first = '', own = ''] = CENTRES;
const ofCentre = besideOf(pool, { kind: 'centre', centre: own });
const ofCoordinator = besideOf(pool, { kind: 'coordinator' });
const ofReader = besideOf(pool, { kind: 'reader' });

/** The chapter as plain text with one space between words, tags kept. */
function chapter(beside: PoolBeside, of = answer): string {
  return poolSection(of, poolOfMeasure(beside, of)).markup.replaceAll('\u00a0', ' ').replace(/\s+/g, ' ');
}

/** The same answer with its one measure changed. */
function changed(
  beside: typeof ofCentre,
  change: (measure: ViewedMeasure) => ViewedMeasure,
): typeof ofCentre {
  const { released } = beside;
  return {
    ...beside,
    released: { ...released, view: { ...released.view, measures: released.view.measures.map(change) } },
  };
}

/** Numbers of patients behind the results by year, as the table of one kind has them. */
function patientsInTable(text: string, title: string): string[] {
  const [, table = ''] = text.split(`${title}: in two stages and in one`);
  const [rows = ''] = table.split('</table>');
  return [...rows.matchAll(/<\/th> <td class="number">([^<]*)<\/td>/g)].map(([, count = '']) => count);
}

describe('the chapter on other clinics', () => {
  it('says which answer of the pool it is, by what definition, and whether something newer waits', () => {
    const text = chapter(ofCentre);
    expect(text).toContain(
      'Answer number 3 of the pool, by version 1 of the study definition: 5 centres, 258',
    );
    expect(text).toContain('Everything that was sent is in it.');
    expect(chapter(besideOf(pool, { kind: 'reader' }, true))).toContain('Something was sent since');
    for (const fact of [
      'Smallest number shown',
      '10 patients',
      'Ages in bands of 3 months',
      'Invented sizes',
    ])
      expect(text).toContain(fact);
  });

  it('says what its numbers cannot show and who decides on their use', () => {
    const text = chapter(ofReader);
    expect(text).toContain('association, not proof');
    expect(text).toContain('pseudonymised, not anonymous');
    expect(text).toContain('agreement of the study group says what may be done');
  });

  it('gives each kind of result in two stages and in one, with what centres differ by, and draws it', () => {
    const text = chapter(ofCentre);
    for (const title of ['How much is kept', 'For how long', 'Lasting, or only earlier'])
      for (const table of ['in two stages and in one', 'how centres differ'])
        expect(text).toContain(`${title}, over centres: ${table}`);
    for (const heading of ['A further centre', 'τ² between centres', 'I²', 'p of no difference'])
      expect(text).toContain(heading);
    expect(text.match(/<svg [^>]*role="img"/g)).toHaveLength(5);
    expect(text).not.toMatch(/NaN|undefined|Infinity|\[object/);
  });

  it('shows a centre its own figures beside the pool and names no other centre', () => {
    const text = chapter(ofCentre);
    expect(text).toContain('This clinic in the pool');
    expect(text).toContain('Flow of this clinic in the pool');
    const built = report(ofCentre);
    for (const id of CENTRES.filter((centre) => centre !== own)) {
      expect(text).not.toContain(id.slice(0, 8));
      expect(JSON.stringify(built.results.pool.answer?.measure)).not.toContain(id);
    }
    expect(text).not.toMatch(/Centre \d/);
  });

  it('shows the coordinator the centres that may be shown, with weights and the mean without each', () => {
    const text = chapter(ofCoordinator);
    expect(text).toContain('the centres, and the mean without each');
    expect(text).toContain('<th scope="row" class="text">Year 1</th> <td class="code">Centre 1</td>');
    expect(text).toContain('one centre left out at a time');
    expect(text).toContain('Flow of each centre, by year');
    expect(text).not.toContain('This clinic in the pool');
  });

  it('draws and lists more centres than can be read only in part, and says where all are', () => {
    const many = changed(ofCoordinator, (measure) => ({
      ...measure,
      quantities: measure.quantities.map((quantity) => ({
        ...quantity,
        rows: Array.from({ length: 60 }, (_, i) => quantity.rows[i % quantity.rows.length] ?? []).flat(),
      })),
      flowByCentre: Array.from({ length: 60 }, () => measure.flowByCentre[0] ?? []).flat(),
    }));
    const text = chapter(many);
    expect(text).toContain('The 60 centres are in the table below.');
    expect(text).toContain('The flow of each of the 60 centres is in results.json.');
    const [, kept = ''] = text.split('How much is kept, over centres: the centres');
    expect(kept.split('</table>')[0]?.match(/<tr>/g)).toHaveLength(61);
  });

  it('writes every number that is withheld as withheld, in no place as a number', () => {
    const nowhere = (measure: ViewedMeasure): ViewedMeasure => ({
      ...measure,
      quantities: measure.quantities.map((quantity) =>
        quantity.year === 2 ? { ...quantity, patients: null, twoStage: null, oneStage: null } : quantity,
      ),
    });
    const text = chapter(changed(ofReader, nowhere));
    const counts = ofReader.released.view.measures[0]?.quantities.filter(
      ({ kind }) => kind === 'retained-share',
    );
    const expected = (counts ?? []).map(({ year, patients }) =>
      year === 2 || patients === null ? 'Withheld' : String(patients),
    );
    expect(patientsInTable(text, 'How much is kept, over centres')).toEqual(expected);
    expect(expected).toContain('Withheld');
  });

  it('counts what is withheld and says by which rule', () => {
    expect(chapter(ofReader)).toMatch(/\d+ numbers of this measure are withheld from this store/);
    expect(chapter(ofReader)).toContain('without any one centre, at least 10 patients of two other centres');
    expect(chapter(ofReader)).toContain('told to the nearest 10, so parts need not add up');
    expect(chapter(ofCoordinator)).toContain('a number is shown if it is 0 or at least 10');
    expect(chapter(ofCoordinator)).not.toContain('told to the nearest');
  });

  it('shows every text of the service as text', () => {
    const attack = '<script>alert(1)</script><img src=x onerror=alert(2)>';
    const { reference } = pool.definition;
    const hostile = changed(
      {
        ...ofCoordinator,
        released: { ...ofCoordinator.released, numbers: [], epoch: attack },
        definition:
          reference.kind === 'growth-table'
            ? {
                ...pool.definition,
                reference: { ...reference, table: { ...reference.table, source: attack } },
              }
            : null,
      },
      (measure) => ({
        ...measure,
        flowByCentre: measure.flowByCentre.map((one) => ({ ...one, centre: attack })),
        survivalDifferences: { refused: attack, message: attack },
        groups: measure.groups.map((group) => ({ ...group, label: attack })),
        quantities: measure.quantities.map((quantity) => ({
          ...quantity,
          oneStage: { refused: attack, message: attack },
          rows: quantity.rows.map((row) => ({ ...row, centre: attack })),
          withoutOne: quantity.withoutOne.map((row) => ({ ...row, centre: attack })),
          leftOut: [{ centre: attack, why: { refused: attack, message: attack } }],
        })),
      }),
    );
    const { html } = report(hostile);
    expect(html).not.toMatch(/<script|<img/);
    expect(html).toContain('&lt;script&gt;alert(1)');
  });
});

describe('a report whose question is not the study’s', () => {
  it('says so, and in what', () => {
    const text = chapter(ofCentre);
    expect(text).toContain('This report asks another question than the study group.');
    expect(text).toContain('Where the two questions part');
    expect(text).toContain('that the next visit confirms');
  });

  it('is told from one that asks the same', () => {
    const asked = definitionQuestion(pool.definition, 'Co-Gn');
    const tables = definitionTables(pool.definition);
    const same = answerOutcome(demo.study, { ...QUESTION, ...asked }, {}, tables);
    expect(chapter(ofCentre, same)).toContain('This report asks what the study group asks');
  });

  it('is not told where the definition could not be read', () => {
    const text = chapter({ ...ofCentre, definition: null });
    expect(text).toContain('whether this report asks the same question is not known');
    expect(text).not.toContain('agreed on: version');
  });
});

describe('a report without a pooled answer', () => {
  it.each([
    'left-out',
    'not-linked',
    'no-reply',
    'refused',
    'nothing-contributed',
    'restored',
    'computing',
    'too-few-changes',
  ] satisfies NoAnswerReason[])('says in one sentence why: %s', (why) => {
    const text = chapter({ kind: 'none', why });
    expect(text).toContain(poolSentence(why));
    expect(text.match(/<(p|h2|h3|table|figure)[ >]/g)).toEqual(['<h2>', '<p>']);
  });

  it('says that the study group does not ask about the measure, or that everything is withheld', () => {
    const other = changed(ofReader, (measure) => ({ ...measure, measure: 'SNB' }));
    expect(chapter(other)).toContain('does not ask about this measure');
    const hidden = changed(ofReader, (measure) => ({
      ...measure,
      quantities: measure.quantities.map((quantity) => ({
        ...quantity,
        patients: null,
        twoStage: null,
        oneStage: null,
        between: null,
      })),
    }));
    expect(chapter(hidden)).toContain('every result is withheld');
  });
});

describe('what the rest of the report says of the pool', () => {
  const paragraph = (html: string): string =>
    html.slice(html.indexOf('<blockquote>'), html.indexOf('</blockquote>')).replace(/\s+/g, ' ');

  it('claims pooling in methods and checklist only where there is a pooled answer', () => {
    const [withPool, without] = [report(ofCentre), report({ kind: 'none', why: 'left-out' })];
    for (const words of ['Hartung, Knapp, Sidik and Jonkman', 'Viechtbauer 2007', 'taken as one series']) {
      expect(paragraph(withPool.html)).toContain(words);
      expect(paragraph(without.html)).not.toContain(words);
    }
    expect(withPool.html).toContain('Hartung J, Knapp G.');
    expect(without.html).not.toContain('Hartung');
    expect(withPool.html.match(/<a href="#pool">/g)).toHaveLength(7);
    expect(without.html).not.toContain('<a href="#pool">');
  });

  it('keeps the answer in results.json as it was released', () => {
    const { pool: kept } = report(ofCoordinator).results;
    expect(kept.absent).toBeNull();
    expect(kept.answer?.measure).toEqual(ofCoordinator.released.view.measures[0]);
    expect(kept.answer?.definition).toEqual(pool.definition);
    expect(kept.answer?.numbers[0]).toEqual({ centre: first, number: 1 });
    expect(report({ kind: 'none', why: 'computing' }).results.pool).toEqual({
      absent: 'computing',
      answer: null,
    });
  });
});

function report(beside: PoolBeside) {
  const { html, json } = buildReport({
    answer,
    sensitivity: SENSITIVITY,
    version: '0.1.0',
    fingerprint: `sha256:${'0'.repeat(64)}`,
    generatedFor: { storeName: 'demo', demo: true },
    pool: beside,
  });
  return { html, results: resultsSchema.parse(JSON.parse(json)) };
}
const SENSITIVITY = sensitivity(prepareQuestion(demo.study, answer.question));
