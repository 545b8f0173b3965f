import type { ReadablePoint } from './chart-model';

/** The place in a chart that is being read, moved by pointer or by keys. */
export class FigureCursor {
  #points: () => readonly ReadablePoint[];
  #index = $state<number | null>(null);
  #spoken = $state('');

  constructor(points: () => readonly ReadablePoint[]) {
    this.#points = points;
  }

  /** Index of the point being read; null when none is, or when the chart no longer has that many. */
  get index(): number | null {
    return this.#index !== null && this.#index < this.#points().length ? this.#index : null;
  }

  /** What stands at the cursor, in words; empty when nothing is read. */
  get text(): string {
    return this.index === null ? '' : (this.#points()[this.index]?.text ?? '');
  }

  /** What a screen reader is told: only moves by keys, so that a passing pointer stays silent. */
  get spoken(): string {
    return this.#spoken;
  }

  /** Follow the pointer; null when it leaves the chart. */
  point(index: number | null): void {
    this.#index = index;
  }

  /** Move by a key. Returns whether the key meant something here. */
  press(key: string): boolean {
    const last = this.#points().length - 1;
    if (last < 0) return false;
    const at = this.index;
    const next: Record<string, number | null> = {
      ArrowRight: at === null ? 0 : Math.min(at + 1, last),
      ArrowLeft: at === null ? last : Math.max(at - 1, 0),
      Home: 0,
      End: last,
      Escape: null,
    };
    if (!(key in next)) return false;
    this.#index = next[key] ?? null;
    this.#spoken = this.text;
    return true;
  }
}
