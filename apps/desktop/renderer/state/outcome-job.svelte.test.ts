import { describe, expect, it } from 'vitest';
import { OutcomeJob, type JobReport } from './outcome-job.svelte';

function fakeHost(reports: Record<string, JobReport<string>[]>) {
  const stopped: string[] = [];
  return {
    stopped,
    start: (question: string) => Promise.resolve({ job: question }),
    poll: (job: string): Promise<JobReport<string>> =>
      Promise.resolve(reports[job]?.shift() ?? { state: 'running', progress: 0.5, step: 'Working' }),
    stop: (job: string) => Promise.resolve(stopped.push(job)),
  };
}
const soon = (): Promise<void> => new Promise((resolve) => setTimeout(resolve, 0));

describe('a computation in the background', () => {
  it('reports its steps and ends with the answer', async () => {
    const host = fakeHost({
      a: [
        { state: 'running', progress: 0.4, step: 'Fitting growth' },
        { state: 'done', answer: 'A' },
      ],
    });
    const job = new OutcomeJob<string, string>(host, soon);
    const asked = job.ask('a', 'a');
    expect(job.state).toBe('running');
    await asked;
    expect(job.state).toBe('done');
    expect(job.finished).toEqual({ job: 'a', answer: 'A' });
  });

  it('keeps the old answer while another question is computed, and after Stop', async () => {
    const host = fakeHost({ a: [{ state: 'done', answer: 'A' }] });
    const job = new OutcomeJob<string, string>(host, soon);
    await job.ask('a', 'a');
    void job.ask('b', 'b');
    await soon();
    expect(job.state).toBe('running');
    expect(job.finished?.answer).toBe('A');
    job.stop();
    expect(job.state).toBe('stopped');
    expect(host.stopped).toEqual(['b']);
    expect(job.finished?.answer).toBe('A');
  });

  it('answers the last question when several were asked quickly', async () => {
    const host = fakeHost({ a: [], b: [{ state: 'done', answer: 'B' }] });
    const job = new OutcomeJob<string, string>(host, soon);
    const first = job.ask('a', 'a');
    await job.ask('b', 'b');
    await first;
    expect(job.finished?.answer).toBe('B');
    expect(host.stopped).toContain('a');
  });

  it('does not compute the same question twice, unless asked again', async () => {
    const host = fakeHost({
      a: [
        { state: 'done', answer: 'A' },
        { state: 'done', answer: 'A2' },
      ],
    });
    const job = new OutcomeJob<string, string>(host, soon);
    await job.ask('a', 'a');
    await job.ask('a', 'a');
    expect(job.finished?.answer).toBe('A');
    await job.askAgain('a', 'a');
    expect(job.finished?.answer).toBe('A2');
  });

  it('says why it failed', async () => {
    const host = fakeHost({
      a: [{ state: 'failed', error: { code: 'internal', message: 'The worker ended.' } }],
    });
    const job = new OutcomeJob<string, string>(host, soon);
    await job.ask('a', 'a');
    expect(job.state).toBe('failed');
    expect(job.failure).toEqual({ reason: 'internal', message: 'The worker ended.' });
  });
});
