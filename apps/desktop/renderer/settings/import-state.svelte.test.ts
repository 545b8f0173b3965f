import { describe, expect, it } from 'vitest';
import type { ImportResult, ImportTexts } from '../state/host';
import { ImportState } from './import-state.svelte';

function file(name: string, bytes: string | Uint8Array<ArrayBuffer>) {
  const content = typeof bytes === 'string' ? new TextEncoder().encode(bytes) : bytes;
  return { name, arrayBuffer: () => Promise.resolve(content.buffer) };
}

function fakeHost() {
  const asked: ImportTexts[] = [];
  const answer =
    (applied: boolean) =>
    (texts: ImportTexts): Promise<ImportResult> => {
      asked.push(texts);
      return Promise.resolve({ applied, faults: [], changes: null, fingerprint: 'f' });
    };
  return { asked, preview: answer(false), write: answer(true) };
}

describe('an import on its way', () => {
  it('tries dropped files together and writes only when told to', async () => {
    const host = fakeHost();
    const state = new ImportState(host);
    await state.takeDropped([file('patients.csv', 'P'), file('events.csv', 'E'), file('letter.txt', '')]);
    expect(host.asked).toEqual([{ patients: 'P', measurements: null, events: 'E', growthTables: null }]);
    expect(state.unknown).toEqual(['letter.txt']);
    expect(state.result?.applied).toBe(false);
    expect(await state.apply()).toBe(true);
  });

  it('does not send what is not UTF-8, and names the file', async () => {
    const host = fakeHost();
    const state = new ImportState(host);
    await state.take('patients', file('old.csv', Uint8Array.from([0xfc])));
    expect(host.asked).toEqual([]);
    expect(state.unreadable).toEqual(['old.csv']);
  });

  it('tries again without a file that is taken away', async () => {
    const host = fakeHost();
    const state = new ImportState(host);
    await state.take('patients', file('patients.csv', 'P'));
    await state.take('events', file('events.csv', 'E'));
    await state.take('events', null);
    expect(host.asked.at(-1)).toEqual({
      patients: 'P',
      measurements: null,
      events: null,
      growthTables: null,
    });
  });
});
