import { describe, expect, it } from 'vitest';
import type { PoolingPreview } from '../../state/host';
import { contributionSentence } from './contribution-sentence';

function previewOf(changes: Partial<PoolingPreview>): PoolingPreview {
  return {
    digest: '0'.repeat(64),
    definition: 1,
    counts: { new: 0, changed: 0, 'in-pool': 0, conflict: 0 },
    somethingToSend: true,
    words: { leaves: [], coarsened: [], staysHome: [], leftOut: [], risk: [], law: '' },
    changes: [],
    risk: {
      records: 0,
      sizes: [],
      smallestGroup: null,
      inSmallGroups: 0,
      highestRisk: null,
      meanRisk: null,
      uniqueVisitDays: 0,
      uniqueValues: 0,
    },
    sheet: {
      methodErrors: [],
      flow: {
        treated: 0,
        contributed: 0,
        withoutConsent: 0,
        withoutEnd: 0,
        withoutStart: 0,
        withoutAge: 0,
        outsideLimits: 0,
        tooFewAlike: 0,
      },
    },
    leftOut: [],
    withdrawals: [],
    withdrawalsToConfirm: null,
    notInStore: [],
    heldBack: [],
    withdrawnForGood: [],
    ...changes,
  };
}
const counts = { new: 3, changed: 1, 'in-pool': 5, conflict: 0 };
const said = (...of: Parameters<typeof contributionSentence>): string =>
  contributionSentence(...of).replaceAll('\u00a0', ' ');

describe('the sentence on what leaves', () => {
  it('says before the first sending that nothing has left', () => {
    expect(said(previewOf({ counts }), { everSent: false })).toBe(
      'Nothing of your clinic has left yet. If you confirm below, 4 records leave.',
    );
    expect(said(previewOf({}), { everSent: false })).toMatch(/there is no record to send/);
  });

  it('counts later only what leaves anew, and says who is withdrawn', () => {
    const gone = { code: 'P-1', pseudonym: 'a', reason: 'no-pooling-consent' as const };
    expect(said(previewOf({ counts, withdrawals: [gone] }), { everSent: true })).toBe(
      'If you confirm below, 4 records leave. 1 patient will be withdrawn, because consent is gone.',
    );
  });

  it('says that there is nothing to send, or only the sheet', () => {
    expect(said(previewOf({ somethingToSend: false }), { everSent: true })).toMatch(/nothing to send/);
    expect(said(previewOf({}), { everSent: true })).toMatch(/sheet of your clinic changed/);
  });
});
