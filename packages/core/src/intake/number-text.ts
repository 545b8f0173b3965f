import { misread, type CellReading } from './column';

const NUMBER = /^[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:e[+-]?\d{1,3})?$/i;
const WITH_DECIMAL_COMMA = /^[+-]?\d*,\d+$/;
const WHOLE_NUMBER = /^\d{1,9}$/;

/** A number written with a decimal point. A decimal comma is refused with the right spelling beside it. */
export function readNumber(text: string): CellReading<number> {
  // Adding zero turns a negative zero into zero.
  if (NUMBER.test(text)) return { ok: true, value: Number(text) + 0 };
  if (WITH_DECIMAL_COMMA.test(text)) {
    const withPoint = text.replace(',', '.');
    return misread(
      'decimal-comma',
      'this is written with a decimal comma',
      `a decimal point, so ${withPoint}`,
    );
  }
  return misread('not-a-number', 'this is not a number');
}

/** A whole number without sign, decimals or exponent. */
export function readWholeNumber(text: string): CellReading<number> {
  if (WHOLE_NUMBER.test(text)) return { ok: true, value: Number(text) };
  return misread('not-a-number', 'this is not a whole number');
}
