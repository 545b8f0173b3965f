import type { SensitivityAnswer } from '@longhold/core/answers';
import { host, type OpenStore, type OutcomeSummary, type RecallList, type SessionState } from './host';
import { Loaded } from './loaded.svelte';
import { OutcomeJob } from './outcome-job.svelte';
import { questionKey, type ChosenQuestion } from './question-address';
import { Route, windowBar } from './route.svelte';
import { Theme } from './theme.svelte';

/** What all screens share. */
class App {
  readonly route = new Route(windowBar, () => this.store);
  readonly theme = new Theme();
  readonly session = new Loaded<SessionState>();
  readonly recall = new Loaded<RecallList>();
  readonly job = new OutcomeJob<ChosenQuestion, OutcomeSummary>({
    start: (question) => host.outcomes.start.mutate(question),
    poll: (job) => host.outcomes.poll.query({ job }),
    stop: (job) => host.outcomes.stop.mutate({ job }),
  });

  /** The question answered again with one thing changed at a time; on request. */
  readonly sensitivity = new OutcomeJob<ChosenQuestion, SensitivityAnswer>({
    start: (question) => host.sensitivity.start.mutate(question),
    poll: (job) => host.sensitivity.poll.query({ job }),
    stop: (job) => host.sensitivity.stop.mutate({ job }),
  });

  /** The report on a question; on request. Its texts stay with the host until they are fetched. */
  readonly report = new OutcomeJob<{ question: ChosenQuestion; withPool: boolean }, null>({
    start: (asked) => host.report.start.mutate(asked),
    poll: (job) => host.report.poll.query({ job }),
    stop: (job) => host.report.stop.mutate({ job }),
  });

  get store(): OpenStore | null {
    return this.session.value?.store ?? null;
  }

  /** Names the state of the open store: another store, or a change in this one, gives another name. */
  get storeKey(): string {
    return this.store === null ? '' : `${this.store.path} ${this.store.revision}`;
  }

  /** Read the session again, after anything that may have changed it. */
  refresh(): Promise<void> {
    return this.session.load(() => host.session.state.query());
  }

  /** Close the open store, which leads back to the start. */
  async closeStore(): Promise<void> {
    await host.session.close.mutate();
    await this.refresh();
  }

  /** Read what depends on the store's records, or forget it when no store is open. */
  followStore(): void {
    if (this.store === null) {
      this.recall.clear();
      this.job.clear();
      this.sensitivity.clear();
      this.report.clear();
      return;
    }
    void this.recall.load(() => host.recall.list.query());
  }

  /** Compute the answer to the question in force, unless that is done or being done. */
  ask(): void {
    void this.job.ask(this.route.question, this.#questionKey());
  }

  askAgain(): void {
    void this.job.askAgain(this.route.question, this.#questionKey());
  }

  /** Answer the question in force again with other choices. */
  askHowSure(): void {
    void this.sensitivity.askAgain(this.route.question, this.#questionKey());
  }

  /** The same, unless it was asked already: what was stopped stays stopped. */
  askHowSureOnce(): void {
    void this.sensitivity.ask(this.route.question, this.#questionKey());
  }

  /**
   * Write the report on the question in force; resolves when it is written, stopped or has failed.
   * @param withPool whether the pooling service is asked what other clinics say
   */
  writeReport(withPool: boolean): Promise<void> {
    return this.report.askAgain({ question: this.route.question, withPool }, this.#questionKey());
  }

  /** Whether the sensitivity at hand belongs to the question in force. */
  get sensitivityFits(): boolean {
    return this.sensitivity.isAbout(this.#questionKey());
  }

  #questionKey(): string {
    return `${this.storeKey} ${questionKey(this.route.question)}`;
  }
}

export const app = new App();
