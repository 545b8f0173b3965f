import { describe, expect, it } from 'vitest';
import {
  noncentralStudentCumulative,
  noncentralStudentQuantile,
  noncentralStudentUpperTail,
} from '@longhold/core/numeric';
import { expectClose } from './closeness';
import { readFixture } from './fixture';
import { DISTRIBUTION } from './tolerances';

interface Place {
  readonly df: number;
  readonly ncp: number;
}

// Source: pt() and qt() of R for the body; integrate() for the tails, where pt() has no digits. See r/noncentral-t.R.
const fixture = readFixture<{
  body: (Place & { t: number; lower: number; upper: number })[];
  tails: (Place & { t: number; lower: number })[];
  quantiles: (Place & { t: number; p: number })[];
}>('noncentral-t');

describe('the noncentral t distribution agrees with R', () => {
  it('in its probabilities, both tails', () => {
    for (const { t, df, ncp, lower, upper } of fixture.body) {
      const what = `t ${t}, df ${df}, ncp ${ncp}`;
      expectClose(noncentralStudentCumulative(t, df, ncp), lower, DISTRIBUTION, `lower tail at ${what}`);
      expectClose(noncentralStudentUpperTail(t, df, ncp), upper, DISTRIBUTION, `upper tail at ${what}`);
    }
    expect(fixture.body.length).toBeGreaterThan(100);
  });

  it.each(fixture.tails)('in the far tail: t $t, df $df, ncp $ncp', ({ t, df, ncp, lower }) => {
    expectClose(noncentralStudentCumulative(t, df, ncp), lower, DISTRIBUTION);
    expectClose(noncentralStudentUpperTail(-t, df, -ncp), lower, DISTRIBUTION);
  });

  it('in its quantiles', () => {
    for (const { p, df, ncp, t } of fixture.quantiles) {
      expectClose(noncentralStudentQuantile(p, df, ncp), t, DISTRIBUTION, `p ${p}, df ${df}, ncp ${ncp}`);
    }
    expect(fixture.quantiles.length).toBeGreaterThan(100);
  });
});
