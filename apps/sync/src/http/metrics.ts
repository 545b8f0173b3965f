const BUCKETS = [0.005, 0.02, 0.1, 0.5, 2, 10];

/** Counts of this process since it was started, for Prometheus to collect. */
export class Metrics {
  readonly #requests = new Map<string, number>();
  readonly #buckets = BUCKETS.map(() => 0);
  #seconds = 0;
  #answered = 0;

  /** One request answered. `outcome` is `ok` or the refusal's code. */
  count(procedure: string, outcome: string, seconds: number): void {
    const labels = `procedure="${procedure}",outcome="${outcome}"`;
    this.#requests.set(labels, (this.#requests.get(labels) ?? 0) + 1);
    BUCKETS.forEach((most, index) => {
      if (seconds <= most) this.#buckets[index] = (this.#buckets[index] ?? 0) + 1;
    });
    this.#seconds += seconds;
    this.#answered++;
  }

  /** The counts in Prometheus' text format. */
  text(): string {
    return [
      '# HELP longhold_requests_total Requests answered, by procedure and outcome.',
      '# TYPE longhold_requests_total counter',
      ...[...this.#requests].map(([labels, times]) => `longhold_requests_total{${labels}} ${times}`),
      '# HELP longhold_request_seconds Time from a request to its answer.',
      '# TYPE longhold_request_seconds histogram',
      ...BUCKETS.map(
        (most, index) => `longhold_request_seconds_bucket{le="${most}"} ${this.#buckets[index]}`,
      ),
      `longhold_request_seconds_bucket{le="+Inf"} ${this.#answered}`,
      `longhold_request_seconds_sum ${this.#seconds}`,
      `longhold_request_seconds_count ${this.#answered}`,
      '# HELP longhold_memory_bytes Memory that the process holds.',
      '# TYPE longhold_memory_bytes gauge',
      `longhold_memory_bytes ${process.memoryUsage.rss()}`,
      '',
    ].join('\n');
  }
}
