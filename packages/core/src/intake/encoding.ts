import type { FaultDetail } from './faults';

const REPLACEMENT_CHARACTER = '\uFFFD';
const ZERO_CHARACTER = '\0';

/**
 * Whether a text shows that its file was read in the wrong encoding: the character that stands for unreadable
 * bytes (Latin-1 and the like), or zeros between the letters (two-byte encodings).
 */
export function isEncodingDamaged(text: string): boolean {
  return text.includes(REPLACEMENT_CHARACTER) || text.includes(ZERO_CHARACTER);
}

/** The fault of a cell that shows a wrong encoding. */
export function encodingFault(row: number, column: string | null, value: string): FaultDetail {
  return {
    kind: 'wrong-encoding',
    row,
    column,
    value: value.replaceAll(ZERO_CHARACTER, REPLACEMENT_CHARACTER),
    message: 'some characters here cannot be read, so the file was not saved as UTF-8',
    allowed: 'a file saved as UTF-8',
  };
}
