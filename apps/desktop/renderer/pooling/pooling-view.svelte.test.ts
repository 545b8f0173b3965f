import { describe, expect, it, vi } from 'vitest';
import type { PoolingProgress, PoolingState } from '../state/host';
import { PoolingView, type PoolingCalls } from './pooling-view.svelte';

const STATE: PoolingState = {
  link: {
    role: 'centre',
    address: 'https://pool.example',
    study: 's',
    member: 'm',
    device: 'd',
    number: 1,
    linkedAt: '2026-03-01T00:00:00Z',
  },
  definition: null,
  outbox: { batches: 0, records: 0, withdrawals: 0, sheet: false, statistics: false },
  sends: 'records',
  statistics: { held: null, isOthers: false, patients: 0 },
  inPool: 0,
  withdrawn: 0,
  everSent: false,
  lastSent: null,
  lastChecked: null,
  fault: null,
  running: false,
};
const AT_REST: PoolingProgress = {
  state: 'idle',
  step: '',
  acknowledged: 0,
  total: 0,
  said: [],
  fault: null,
};
const RUNNING: PoolingProgress = { ...AT_REST, state: 'running', step: 'Sending records', total: 10 };

function callsWith(changes: Partial<PoolingCalls> = {}): PoolingCalls {
  return {
    state: async () => STATE,
    preview: vi.fn(async () => null),
    statistics: vi.fn(async () => null),
    making: async () => ({ running: false, step: '', fraction: 0 }),
    stopMaking: async () => undefined,
    conflicts: async () => [],
    withdrawals: async () => [],
    progress: async () => AT_REST,
    stop: async () => undefined,
    ...changes,
  };
}
const atOnce = (): Promise<void> => Promise.resolve();

describe('the Pooling screen', () => {
  it('follows an exchange to its end and then reads everything again', async () => {
    const answers = [RUNNING, { ...RUNNING, acknowledged: 5 }, { ...RUNNING, state: 'done' as const }];
    const calls = callsWith({ progress: async () => answers.shift() ?? AT_REST });
    const view = new PoolingView(calls, atOnce);
    expect(await view.exchange(async () => RUNNING)).toBe(true);
    expect(view.progress?.state).toBe('done');
    expect(answers).toHaveLength(0);
    expect(calls.preview).toHaveBeenCalledOnce();
    expect(view.readings).toBe(1);
  });

  it('follows an exchange that was under way when it was opened', async () => {
    const answers = [RUNNING, AT_REST];
    const running = { ...STATE, running: true };
    const view = new PoolingView(
      callsWith({ state: async () => running, progress: async () => answers.shift() ?? AT_REST }),
      atOnce,
    );
    await view.open();
    expect(answers).toHaveLength(0);
  });

  it('shows nothing of a contribution to who contributes nothing', async () => {
    const link = STATE.link === null ? null : { ...STATE.link, role: 'reader' as const };
    const calls = callsWith({ state: async () => ({ ...STATE, link }) });
    const view = new PoolingView(calls, atOnce);
    await view.open();
    expect(calls.preview).not.toHaveBeenCalled();
    expect(view.preview.value).toBeNull();
  });

  it('shows of a clinic only what it chose to send, and nothing before it has chosen', async () => {
    for (const sends of ['records', 'statistics', null] as const) {
      const calls = callsWith({ state: async () => ({ ...STATE, sends }) });
      const view = new PoolingView(calls, atOnce);
      await view.open();
      expect(calls.preview).toHaveBeenCalledTimes(sends === 'records' ? 1 : 0);
      expect(calls.statistics).toHaveBeenCalledTimes(sends === 'statistics' ? 1 : 0);
    }
  });

  it('tells how far the making of what would leave is, until it is made', async () => {
    const seen: (number | undefined)[] = [];
    let finish: (value: null) => void = () => undefined;
    const calls = callsWith({
      preview: () => new Promise<null>((resolve) => (finish = resolve)),
      making: async () => ({ running: true, step: 'Comparing', fraction: 0.7 }),
    });
    let waits = 0;
    const view = new PoolingView(calls, async () => {
      seen.push(view.making?.fraction);
      waits += 1;
      if (waits === 3) finish(null);
    });
    await view.open();
    expect(seen).toContain(0.7);
    expect(view.making).toBeNull();
  });

  it('says so when the host does not take an exchange on, and asks for no progress', async () => {
    const progress = vi.fn(async () => AT_REST);
    const view = new PoolingView(callsWith({ progress }), atOnce);
    expect(await view.exchange(() => Promise.reject(new Error('gone')))).toBe(false);
    expect(view.asked.failure?.reason).toBe('no-answer');
    expect(progress).not.toHaveBeenCalled();
  });

  it('does not go on asking when it was left', async () => {
    let asked = 0;
    const view = new PoolingView(
      callsWith({
        progress: async () => {
          asked += 1;
          return RUNNING;
        },
      }),
      async () => {
        view.close();
      },
    );
    await view.exchange(async () => RUNNING);
    expect(asked).toBe(1);
  });
});
