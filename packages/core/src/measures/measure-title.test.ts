import { expect, it } from 'vitest';
import { measureTitle } from './measure-title';

it('a measure is called by its code and its name, and by its name alone where the code says the same', () => {
  expect(measureTitle({ code: 'Co-Gn', name: 'Mandibular length' })).toBe('Co-Gn, mandibular length');
  expect(measureTitle({ code: 'overjet', name: 'Overjet' })).toBe('Overjet');
});
