/** Below this a comparison sort is as fast and simpler. */
const FEW = 4096;
const DIGIT_BITS = 16;
const DIGITS = 1 << DIGIT_BITS;

/**
 * The positions of `values` in rising order of value; equal values stay in the order given.
 * Long columns are sorted by a radix sort on the bits of the doubles, which costs four passes whatever the values.
 * Source: Knuth 1998, section 5.2.5.
 *
 * @param values finite numbers
 */
export function risingOrder(values: ArrayLike<number>): Uint32Array {
  const order = Uint32Array.from({ length: values.length }, (_, i) => i);
  if (values.length > FEW) return radixOrder(values, order);
  return order.sort((a, b) => (values[a] ?? 0) - (values[b] ?? 0) || a - b);
}

function radixOrder(values: ArrayLike<number>, order: Uint32Array): Uint32Array {
  const size = values.length;
  const keys = sortableBits(values);
  let from: Uint32Array = order;
  let to: Uint32Array = new Uint32Array(size);
  for (let digit = 0; digit < 4; digit++) {
    const starts = new Uint32Array(DIGITS + 1);
    for (let i = 0; i < size; i++) count(starts, (keys[4 * i + digit] ?? 0) + 1);
    if (starts.includes(size)) continue;
    for (let d = 1; d <= DIGITS; d++) starts[d] = (starts[d] ?? 0) + (starts[d - 1] ?? 0);
    for (let i = 0; i < size; i++) {
      const position = from[i] ?? 0;
      const key = keys[4 * position + digit] ?? 0;
      to[starts[key] ?? 0] = position;
      count(starts, key);
    }
    [from, to] = [to, from];
  }
  return from;
}

function count(counts: Uint32Array, index: number): void {
  counts[index] = (counts[index] ?? 0) + 1;
}

/** Four 16-bit digits a value, lowest first, whose order as whole numbers is that of the values. */
function sortableBits(values: ArrayLike<number>): Uint16Array {
  // Adding zero makes -0 and 0 equal.
  const doubles = Float64Array.from(values, (value) => value + 0);
  const digits = new Uint16Array(doubles.buffer);
  const lowestFirst = new Uint8Array(Uint16Array.of(1).buffer)[0] === 1;
  if (!lowestFirst) for (let i = 0; i < digits.length; i += 4) digits.subarray(i, i + 4).reverse();
  for (let i = 0; i < digits.length; i += 4) {
    const negative = (digits[i + 3] ?? 0) >= 0x8000;
    if (!negative) digits[i + 3] = (digits[i + 3] ?? 0) ^ 0x8000;
    else for (let digit = 0; digit < 4; digit++) digits[i + digit] = ~(digits[i + digit] ?? 0);
  }
  return digits;
}
