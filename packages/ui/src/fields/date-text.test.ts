import { expect, it } from 'vitest';
import { dateFault } from './date-text';

it('a typed date must exist and not lie in the future', () => {
  expect(dateFault('2024-02-29', '2024-03-01')).toBeNull();
  expect(dateFault('2023-02-29', '2024-03-01')).toContain('YYYY-MM-DD');
  expect(dateFault('29.02.2024', '2024-03-01')).toContain('YYYY-MM-DD');
  expect(dateFault('2024-03-02', '2024-03-01')).toBe('A day not after 2024-03-01.');
});
