import { describe, expect, it } from 'vitest';
import { addDays, daysBetween } from './calendar';

const MILLISECONDS_PER_DAY = 86_400_000;

describe('days of the calendar', () => {
  it('are counted on every day from 1900 to 2199 as the clock of the machine counts them', () => {
    const first = Date.parse('1900-01-01T00:00:00Z');
    const last = Date.parse('2199-12-31T00:00:00Z');
    const wrong: string[] = [];
    for (let time = first; time <= last; time += MILLISECONDS_PER_DAY) {
      const date = new Date(time).toISOString().slice(0, 10);
      const days = (time - Date.parse('2024-02-29T00:00:00Z')) / MILLISECONDS_PER_DAY;
      if (daysBetween('2024-02-29', date) !== days || addDays('2024-02-29', days) !== date) wrong.push(date);
    }
    expect(wrong).toEqual([]);
  });

  it('count a leap day in 2000 and none in 1900 and 2100', () => {
    expect(daysBetween('2000-02-28', '2000-03-01')).toBe(2);
    expect(daysBetween('1900-02-28', '1900-03-01')).toBe(1);
    expect(daysBetween('2100-02-28', '2100-03-01')).toBe(1);
    expect(daysBetween('2100-03-01', '2100-02-28')).toBe(-1);
  });
});
