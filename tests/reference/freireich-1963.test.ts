import { describe, it } from 'vitest';
import { kaplanMeier, survivalReadings } from '@longhold/core/survival';
import { answered } from './answered';
import { expectWithin } from './closeness';
import { readPublished } from './fixture';
import { printed } from './tolerances';

// Freireich and others, Blood 1963;21:699-716: weeks of remission under 6-mercaptopurine, 21 patients.
// Printed survival and Greenwood standard errors as they are widely reprinted (from memory; survfit gives the same).
const PRINTED = [
  [6, 0.8571, 0.0764],
  [7, 0.8067, 0.0869],
  [10, 0.7529, 0.0963],
  [13, 0.6902, 0.1068],
  [16, 0.6275, 0.1141],
  [22, 0.5378, 0.1282],
  [23, 0.4482, 0.1346],
] as const;

describe('remission under 6-mercaptopurine (Freireich and others 1963)', () => {
  it('has the printed Kaplan-Meier curve', () => {
    const treated = readPublished('remission.csv').filter(([arm]) => arm === '6-MP');
    const curve = answered(
      kaplanMeier({
        time: treated.map(([, time]) => Number(time)),
        event: treated.map(([, , event]) => Number(event)),
      }),
    );
    for (const [time, survival, standardError] of PRINTED) {
      const [reading] = answered(survivalReadings(curve, [time]));
      expectWithin(reading?.survival ?? NaN, survival, printed(4), `S(${time})`);
      expectWithin(reading?.standardError ?? NaN, standardError, printed(4), `standard error at ${time}`);
    }
  });
});
