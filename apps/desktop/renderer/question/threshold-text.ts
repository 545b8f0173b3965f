import type { Threshold } from '@longhold/core/answers';

/** The number of a threshold as it stands in its field: 75 for a share of 0.75. */
export function thresholdNumber(threshold: Threshold): string {
  return threshold.kind === 'share'
    ? String(Number((threshold.share * 100).toFixed(4)))
    : String(threshold.amount);
}

/** Read a typed threshold; a decimal comma is understood. */
export function parseThreshold(
  kind: Threshold['kind'],
  text: string,
): { readonly threshold: Threshold | null; readonly fault: string | null } {
  const trimmed = text.trim().replace(/\s*%$/, '').replace(',', '.');
  const value = /^\d+(\.\d+)?$/.test(trimmed) ? Number(trimmed) : NaN;
  if (kind === 'share') {
    return value > 0 && value < 100
      ? { threshold: { kind: 'share', share: value / 100 }, fault: null }
      : { threshold: null, fault: 'A number above 0 and below 100.' };
  }
  return value > 0 && value <= 50
    ? { threshold: { kind: 'floor', amount: value }, fault: null }
    : { threshold: null, fault: 'A number above 0, at most 50.' };
}
