import { describe, expect, it } from 'vitest';
import { patientHistorySchema, type PatientHistory } from '../records';
import { answerOutcome, AnswerStopped } from './answer-outcome';
import { missingSentence, retentionSentence, statusSentence, survivalSentence } from './words';

/** A treated patient whose overjet (a measure that does not grow; default error 0.4 mm) is read at each visit. */
function treated(
  code: string,
  start: number,
  end: number,
  later: readonly (readonly [date: string, overjet: number | null])[],
  extra: Partial<PatientHistory['patient']> & { events?: PatientHistory['events'] } = {},
): PatientHistory {
  const { events = [], ...patient } = extra;
  const visit = (kind: string, date: string, value: number | null) => ({
    kind,
    date,
    ageYears: null,
    measurements:
      value === null ? [] : [{ measure: 'overjet', value, unit: 'mm', replicate: 1, examiner: '' }],
  });
  return patientHistorySchema.parse({
    patient: {
      code,
      sex: 'female',
      birthDate: '2006-01-01',
      group: 'treated',
      protocol: 'A',
      expansion: false,
      maturityStart: null,
      treatmentStart: '2019-01-01',
      activeEnd: '2020-01-01',
      consentFollowUp: true,
      consentPooling: true,
      ...patient,
    },
    visits: [
      visit('start', '2019-01-01', start),
      visit('end_of_active', '2020-01-01', end),
      ...later.map(([date, value]) => visit('follow_up', date, value)),
    ],
    events,
  });
}

const ask = { measure: 'overjet', asOf: '2023-08-01', resamples: 100, rule: 'any-visit' } as const;
const only = (study: PatientHistory[], input: object = {}) => answerOutcome(study, { ...ask, ...input });

describe('an outcome answer', () => {
  it('takes a smaller overjet for a gain, since that is the favourable direction', () => {
    const answer = only([treated('A', 9, 3, [['2021-01-01', 4]])]);
    expect(answer.patients[0]?.gain?.estimate).toBeCloseTo(6, 12);
    expect(answer.patients[0]?.visits[2]?.share?.estimate).toBeCloseTo(5 / 6, 12);
  });

  it('computes the margin and its measurement error as s^2 (1 + q^2 + (1 - q)^2)', () => {
    const status = only([treated('A', 9, 3, [['2021-01-01', 4]])]).patients[0]?.status;
    expect(status?.margin).toBeCloseTo(5 - 0.75 * 6, 12);
    expect(status?.measurementSd).toBeCloseTo(0.4 * Math.sqrt(1 + 0.75 ** 2 + 0.25 ** 2), 12);
    expect(status?.growthSd).toBe(0);
  });

  it('averages replicate readings and lowers their error accordingly', () => {
    const history = treated('A', 9, 3, [['2021-01-01', 4]]);
    history.visits[2]?.measurements.push({
      measure: 'overjet',
      value: 4.4,
      unit: 'mm',
      replicate: 2,
      examiner: '',
      film: 1,
    });
    const visit = only([history]).patients[0]?.visits[2];
    expect(visit?.value).toBeCloseTo(4.2, 12);
    expect(visit?.gain?.measurementSd).toBeCloseTo(0.4 * Math.sqrt(1 / 2 + 1), 12);
  });

  it.each([
    [3, 'held'],
    [7, 'lost'],
    [4.5, 'cannot-tell'],
  ])('calls a patient whose overjet of 9 mm fell to 3 and is now %d mm %s', (now, verdict) => {
    expect(only([treated('A', 9, 3, [['2021-01-01', now]])]).patients[0]?.status.verdict).toBe(verdict);
  });

  it('names a gain that cannot be told from error and keeps the patient in the count', () => {
    const answer = only([treated('A', 6, 5.5, [['2021-01-01', 5.5]])]);
    expect(answer.patients[0]?.status).toMatchObject({
      verdict: 'not-measurable',
      reason: 'gain-not-measurable',
    });
    expect(answer.leftOut).toEqual([{ reason: 'gain-not-measurable', codes: ['A'] }]);
  });

  it('takes the ratio of means for a group, never the mean of ratios', () => {
    const answer = only([treated('A', 9, 3, [['2021-01-01', 3]]), treated('B', 9, 6, [['2021-01-01', 9]])]);
    expect(answer.retained[0]).toMatchObject({ year: 1, n: 2, meanGainAtEnd: 4.5, meanGainNow: 3 });
    expect(answer.retained[0]?.share?.estimate).toBeCloseTo(3 / 4.5, 12);
  });

  it('counts a visit for the anniversary nearest to it', () => {
    const answer = only([treated('A', 9, 3, [['2021-08-01', 4]]), treated('B', 9, 3, [['2021-05-01', 4]])]);
    expect(answer.retained.map(({ year, n }) => [year, n])).toEqual([
      [1, 1],
      [2, 1],
    ]);
  });

  it('brackets a loss between the visits around it', () => {
    const answer = only([
      treated('A', 9, 3, [
        ['2021-01-01', 3],
        ['2022-01-01', 8],
      ]),
    ]);
    expect(answer.patients[0]?.loss?.left).toBeCloseTo(1, 2);
    expect(answer.patients[0]?.loss?.right).toBeCloseTo(2, 2);
    expect(answer.survival?.losses).toBe(1);
  });

  it('uses nothing that comes after a second treatment', () => {
    const again = { events: [{ date: '2021-06-01', event: 'treated_again' as const }] };
    const answer = only([
      treated(
        'A',
        9,
        3,
        [
          ['2021-01-01', 3],
          ['2022-01-01', 8],
        ],
        again,
      ),
    ]);
    expect(answer.patients[0]?.status.verdict).toBe('treated-again');
    expect(answer.patients[0]?.loss?.right).toBeNull();
    expect(answer.survival?.treatedAgain).toBe(1);
    expect(answer.retained).toHaveLength(1);
  });

  it('leaves out and names a patient without consent for follow-up', () => {
    const answer = only([treated('A', 9, 3, [['2021-01-01', 3]], { consentFollowUp: false })]);
    expect(answer.patients).toEqual([]);
    expect(answer.leftOut).toEqual([{ reason: 'no-consent', codes: ['A'] }]);
    expect(answer.flow[0]?.notSeen['no-consent']).toBe(1);
  });

  it('accounts for every eligible patient of every year', () => {
    const answer = only([
      treated('A', 9, 3, [['2021-01-01', 3]]),
      treated('B', 9, 3, [['2021-01-01', null]]),
      treated('C', 9, 3, [], { events: [{ date: '2020-09-01', event: 'moved' }] }),
      treated('D', 9, 3, []),
    ]);
    expect(answer.flow[0]).toMatchObject({ eligible: 4, seen: 2, measured: 1, seenNotMeasured: 1 });
    for (const { eligible, seen, notSeen } of answer.flow) {
      expect(seen + Object.values(notSeen).reduce((sum, n) => sum + n, 0)).toBe(eligible);
    }
    expect(answer.flow[0]?.notSeen).toMatchObject({ moved: 1, 'not-known': 1 });
  });

  it('does not let the order of visits or events in the records decide who was seen', () => {
    const visits = [
      ['2021-04-01', 3],
      ['2020-10-01', 3],
    ] as const;
    const again = (...dates: string[]) => ({
      events: dates.map((date) => ({ date, event: 'treated_again' as const })),
    });
    const seenBefore = only([treated('A', 9, 3, visits, again('2021-01-15'))]).flow[0];
    expect(seenBefore).toMatchObject({ seen: 1, measured: 1 });
    const late = only([treated('A', 9, 3, [['2022-01-01', 3]], again('2024-03-01', '2021-03-01'))], {
      asOf: '2024-06-01',
    }).flow[1];
    expect(late?.notSeen['treated-again']).toBe(1);
  });

  it('reads the records as they were on the day asked for', () => {
    const answer = only(
      [
        treated('A', 9, 3, [
          ['2021-01-01', 3],
          ['2022-01-01', 8],
        ]),
      ],
      { asOf: '2021-12-31' },
    );
    expect(answer.survival?.losses).toBe(0);
  });

  it('filters by protocol, sex and expansion', () => {
    const study = [
      treated('A', 9, 3, []),
      treated('B', 9, 3, [], { protocol: 'B', sex: 'male', expansion: true }),
    ];
    const count = (filter: object) => only(study, { filter }).treated;
    expect([
      count({}),
      count({ protocol: 'B' }),
      count({ sex: 'female' }),
      count({ expansion: true }),
    ]).toEqual([2, 1, 1, 1]);
  });

  it('follows an absolute floor and names who never reached it', () => {
    const study = [treated('A', 9, 3, [['2021-01-01', 6.5]]), treated('B', 9, 7.5, [['2021-01-01', 7]])];
    const answer = only(study, { threshold: { kind: 'floor', amount: 2 } });
    expect(answer.patients[0]?.status.margin).toBeCloseTo(0.5, 12);
    expect(answer.leftOut).toEqual([{ reason: 'gain-below-floor', codes: ['B'] }]);
  });

  it('says in words that it cannot answer, for an empty study', () => {
    const answer = only([]);
    expect(retentionSentence(answer)).toContain('cannot be answered yet');
    expect(survivalSentence(answer)).toContain('cannot be answered yet');
    expect(missingSentence(answer)).toContain('nobody can be missing');
  });

  it('says that a growing measure cannot be judged without a growth reference', () => {
    const answer = answerOutcome([], { measure: 'SNB' });
    expect(answer.reference.kind).toBe('none');
    expect(retentionSentence(answer)).toContain('expected growth is not known');
  });

  it('says in words what became of one patient', () => {
    const answer = only([treated('A', 9, 3, [['2021-01-01', 7]])]);
    const [outcome] = answer.patients;
    if (outcome === undefined) throw new Error('no outcome');
    expect(statusSentence(outcome, answer.measure)).toMatch(
      /gain of 6\.0 mm in overjet .* The gain is lost\.$/,
    );
  });

  it('gives the same numbers to the last digit for the same study and question', () => {
    const study = Array.from({ length: 12 }, (_, i) => treated(`P${i}`, 9, 3, [['2021-01-01', 3 + i / 2]]));
    expect(JSON.stringify(only(study))).toBe(JSON.stringify(only(study)));
  });

  it('never shows a certain interval when nobody was seen to lose', () => {
    const study = Array.from({ length: 10 }, (_, i) => treated(`P${i}`, 9, 3, [['2021-01-05', 3]]));
    const atOne = only(study).survival?.turnbull.atYears[0];
    expect(atOne?.estimate).toBe(1);
    // Clopper and Pearson 1934: 0.025^(1/10) for 10 of 10.
    expect(atOne?.limits?.lower).toBeCloseTo(0.025 ** 0.1, 9);
  });

  it('stops when asked to, and tells how far it is until then', () => {
    const study = Array.from({ length: 5 }, (_, i) => treated(`P${i}`, 9, 3, [['2021-01-01', 3]]));
    const seen: number[] = [];
    let asked = 0;
    const hooks = { progress: (fraction: number) => seen.push(fraction), shouldStop: () => ++asked > 20 };
    expect(() => answerOutcome(study, ask, hooks)).toThrow(AnswerStopped);
    expect(seen).toEqual([...seen].sort((a, b) => a - b));
  });

  it('refuses a measure that is not in the catalogue', () => {
    expect(() => answerOutcome([], { measure: 'nonsense' })).toThrow(/no measure nonsense/);
  });
});
