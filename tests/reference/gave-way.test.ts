import { describe, expect, it } from 'vitest';
import { answerOutcome } from '@longhold/core/answers';
import { patientHistorySchema, type PatientHistory } from '@longhold/core/records';
import { expectClose, expectWithin } from './closeness';
import { readFixture, type NumberOrNull } from './fixture';
import { CLOSED_FORM } from './tolerances';

/*
 * Outside: r/gave-way.R, from the positions of the points, with t.test, quantile and Fieller's ends by uniroot. All
 * children invented.
 */
interface PartOfR {
  readonly mean: number;
  readonly lower: number;
  readonly upper: number;
  readonly untreated?: number;
  readonly untreatedN?: number;
}
interface SplitOfR {
  readonly span: string;
  readonly n: number;
  readonly years: number;
  readonly parts: PartOfR[];
  readonly skeletalShare: { estimate: number; lower: NumberOrNull; upper: NumberOrNull } | null;
}
interface GaveWayFixture {
  readonly children: {
    code: string;
    treated: boolean;
    kinds: string[];
    ages: number[];
    points: Record<string, number[]>;
    length: number[];
  }[];
  readonly year: number;
  readonly overjet: SplitOfR[];
  readonly molar: SplitOfR[];
  readonly chin: SplitOfR[];
  readonly turn: SplitOfR[];
}
const fixture = readFixture<GaveWayFixture>('gave-way');

function historyOf({ code, treated, kinds, ages, points, length }: GaveWayFixture['children'][number]) {
  const reading = (measure: string, value: number | undefined) => ({
    measure,
    value,
    unit: 'mm',
    replicate: 1,
    examiner: '',
  });
  return patientHistorySchema.parse({
    patient: {
      code,
      sex: 'female',
      birthDate: null,
      group: treated ? 'treated' : 'untreated',
      protocol: null,
      expansion: null,
      maturityStart: null,
      treatmentStart: null,
      activeEnd: null,
      consentFollowUp: true,
      consentPooling: false,
    },
    visits: ages.map((ageYears, i) => ({
      kind: kinds[i],
      date: null,
      ageYears,
      filmFactor: 1,
      measurements: [
        ...Object.entries(points).map(([point, values]) => reading(`${point}-OLp`, values[i])),
        reading('Co-Gn', length[i]),
      ],
    })),
    events: [],
  });
}

const study: PatientHistory[] = fixture.children.map(historyOf);
const { gaveWay } = answerOutcome(study, { measure: 'overjet', resamples: 50 });

interface FoundPart {
  readonly mean: number;
  readonly limits: { readonly lower: number; readonly upper: number } | null;
  readonly untreated: { readonly mean: number; readonly n: number } | null;
}

function expectPart(found: FoundPart | null | undefined, expected: PartOfR | undefined, what: string): void {
  if (expected === undefined) throw new Error(`no ${what}`);
  expectClose(found?.mean ?? NaN, expected.mean, CLOSED_FORM, `${what}, mean`, 1);
  expectClose(found?.limits?.lower ?? NaN, expected.lower, CLOSED_FORM, `${what}, lower limit`, 1);
  expectClose(found?.limits?.upper ?? NaN, expected.upper, CLOSED_FORM, `${what}, upper limit`, 1);
  expect(found?.untreated?.n, `${what}, untreated children`).toBe(expected.untreatedN);
  if (expected.untreated === undefined) return;
  expectClose(found?.untreated?.mean ?? NaN, expected.untreated, CLOSED_FORM, `${what}, untreated`, 1);
}

describe('what gave way agrees with R', () => {
  it('in the year it is told for', () => {
    expect(gaveWay.year).toBe(fixture.year);
  });

  it.each(['overjet', 'molar', 'chin'] as const)(
    'in every part of the change of %s, over each span',
    (name) => {
      fixture[name].forEach((expected, i) => {
        const found = gaveWay[name][i];
        expect(found?.span).toBe(expected.span);
        expect(found?.n).toBe(expected.n);
        expectClose(found?.years ?? NaN, expected.years, CLOSED_FORM, 'years');
        const [whole, ...parts] = expected.parts;
        expectPart(found?.whole, whole, `${name}, ${expected.span}, whole`);
        expect(found?.parts).toHaveLength(parts.length);
        parts.forEach((part, place) =>
          expectPart(found?.parts[place], part, `${name}, ${expected.span}, part ${place + 1}`),
        );
      });
    },
  );

  it('in the turn of the lower jaw', () => {
    fixture.turn.forEach(({ span, parts }, i) => {
      expect(gaveWay.turn[i]?.span).toBe(span);
      expectPart(gaveWay.turn[i]?.degrees, parts[0], `turn, ${span}`);
    });
  });

  it.each(['overjet', 'molar'] as const)("in the skeletal share of %s with Fieller's set", (name) => {
    let bounded = 0;
    fixture[name].forEach(({ span, skeletalShare }, i) => {
      const found = gaveWay[name][i]?.skeletalShare;
      expectClose(found?.estimate ?? NaN, skeletalShare?.estimate ?? NaN, CLOSED_FORM, span);
      if (skeletalShare === null || skeletalShare.lower === null || skeletalShare.upper === null) {
        expect(found?.interval.kind, span).not.toBe('bounded');
        return;
      }
      if (found?.interval.kind !== 'bounded') throw new Error(`no bounded set, ${span}`);
      bounded++;
      expectWithin(found.interval.lower, skeletalShare.lower, 1e-9, `${span}, lower end`);
      expectWithin(found.interval.upper, skeletalShare.upper, 1e-9, `${span}, upper end`);
    });
    expect(bounded).toBeGreaterThan(0);
  });
});
