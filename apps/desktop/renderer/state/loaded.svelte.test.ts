import { describe, expect, it } from 'vitest';
import { Loaded } from './loaded.svelte';

describe('something fetched from the host', () => {
  it('keeps the old value while a newer one comes, and drops one that was overtaken', async () => {
    const loaded = new Loaded<string>();
    await loaded.load(() => Promise.resolve('first'));
    let finishSlow = (_: string): void => undefined;
    const slow = loaded.load(() => new Promise((resolve) => (finishSlow = resolve)));
    expect(loaded.value).toBe('first');
    expect(loaded.loading).toBe(true);
    await loaded.load(() => Promise.resolve('third'));
    finishSlow('second');
    await slow;
    expect(loaded.value).toBe('third');
    expect(loaded.loading).toBe(false);
  });

  it('tells the host’s reason apart from a host that does not answer', async () => {
    const loaded = new Loaded<string>();
    const refusal = Object.assign(new Error('No store is open.'), { data: { reason: 'no-store-open' } });
    await loaded.load(() => Promise.reject(refusal));
    expect(loaded.failure).toEqual({ reason: 'no-store-open', message: 'No store is open.' });
    await loaded.load(() => Promise.reject(new TypeError('fetch failed')));
    expect(loaded.failure?.reason).toBe('no-answer');
  });
});
