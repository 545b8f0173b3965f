import { expect, it } from 'vitest';
import { decodeUtf8, partOfFile } from './import-files';

it('a dropped file is told by its name', () => {
  expect(partOfFile('Patients.csv')).toBe('patients');
  expect(partOfFile('2024 measurements (2).csv')).toBe('measurements');
  expect(partOfFile('growth-table.csv')).toBe('growthTables');
  expect(partOfFile('patients-events.csv')).toBeNull();
  expect(partOfFile('notes.txt')).toBeNull();
});

it('a file that is not UTF-8 is told from one that is', () => {
  expect(decodeUtf8(new TextEncoder().encode('Müller').buffer)).toBe('Müller');
  expect(decodeUtf8(Uint8Array.from([0x4d, 0xfc, 0x6c]).buffer)).toBeNull();
});
