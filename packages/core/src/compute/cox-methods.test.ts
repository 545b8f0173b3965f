import { describe, expect, it } from 'vitest';
import { OVARIAN } from './cox-input';
import { COX_METHODS } from './cox-methods';

function call(name: string, input: unknown): unknown {
  return COX_METHODS.find((method) => method.name === name)?.call(input);
}

describe('Cox regression through the door', () => {
  it('answers with plain JSON: coefficients by name, and profile limits only where asked for', () => {
    expect(call('cox-regression', OVARIAN)).toMatchObject({
      answer: {
        rows: 26,
        events: 12,
        ties: 'efron',
        coefficients: [{ name: 'age' }, { name: 'arm=with adriamycin' }],
        profile: null,
        warning: null,
      },
    });
    expect(call('cox-regression', { ...OVARIAN, profile: true })).toMatchObject({
      answer: { profile: [{ name: 'age' }, { name: 'arm=with adriamycin' }] },
    });
  });

  it('keeps the reference level that is named', () => {
    const [age, arm] = OVARIAN.covariates;
    const turned = { ...arm, levels: ['with adriamycin', 'cyclophosphamide'] };
    expect(call('cox-regression', { ...OVARIAN, covariates: [age, turned] })).toMatchObject({
      answer: { coefficients: [{ name: 'age' }, { name: 'arm=cyclophosphamide' }] },
    });
  });

  it('carries refusals of the fit through every method', () => {
    for (const { name } of COX_METHODS) {
      const input = {
        ...OVARIAN,
        event: OVARIAN.event.map(() => 0),
        ...(name === 'cox-survival-curve' && { at: {} }),
      };
      expect(call(name, input)).toMatchObject({ fault: { refused: 'no-events', places: [] } });
    }
  });

  it('reads a curve at the times asked for, and says nothing after the last one observed', () => {
    const at = { age: 55, arm: 'cyclophosphamide' };
    expect(call('cox-survival-curve', { ...OVARIAN, at, times: [0, 2000] })).toMatchObject({
      answer: {
        readings: [
          { stratum: null, survival: [{ survival: 1 }, { survival: null, lower: null, upper: null }] },
        ],
      },
    });
  });

  it('refuses profile limits for clustered rows and says what to use', () => {
    const clusters = OVARIAN.time.map((_, row) => row % 5);
    const outcome = call('cox-regression', { ...OVARIAN, clusters, profile: true });
    expect(outcome).toMatchObject({ fault: { refused: 'robust-fit' } });
  });
});
