import { expect, it } from 'vitest';
import { Attempt } from './attempt.svelte';

it('an attempt is busy until it ends, and keeps why it failed until the next one', async () => {
  const attempt = new Attempt();
  const failing = attempt.run(() => Promise.reject(new Error('no')));
  expect(attempt.busy).toBe(true);
  expect(await failing).toBe(false);
  expect(attempt.busy).toBe(false);
  expect(attempt.failure?.reason).toBe('no-answer');
  expect(await attempt.run(() => Promise.resolve())).toBe(true);
  expect(attempt.failure).toBeNull();
});
