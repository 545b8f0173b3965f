/** Position of the last of the rising times that is not after `at`; -1 where all are. */
export function lastNotAfter(times: ArrayLike<number>, at: number): number {
  let low = 0;
  let high = times.length;
  while (low < high) {
    const middle = (low + high) >>> 1;
    if ((times[middle] ?? NaN) <= at) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}
