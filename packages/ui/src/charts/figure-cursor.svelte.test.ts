import { describe, expect, it } from 'vitest';
import { FigureCursor } from './figure-cursor.svelte';

const points = [
  { x: 1, text: 'Year 1: 90%' },
  { x: 2, text: 'Year 2: 80%' },
];

describe('reading a figure by keys', () => {
  it('starts at the first point and stops at the last', () => {
    const cursor = new FigureCursor(() => points);
    expect(cursor.press('ArrowRight')).toBe(true);
    expect(cursor.spoken).toBe('Year 1: 90%');
    cursor.press('ArrowRight');
    cursor.press('ArrowRight');
    expect(cursor.index).toBe(1);
    expect(cursor.spoken).toBe('Year 2: 80%');
  });

  it('is left by Escape and leaves other keys alone', () => {
    const cursor = new FigureCursor(() => points);
    cursor.press('End');
    cursor.press('Escape');
    expect(cursor.index).toBeNull();
    expect(cursor.press('Tab')).toBe(false);
  });

  it('says nothing while a pointer passes', () => {
    const cursor = new FigureCursor(() => points);
    cursor.point(1);
    expect(cursor.text).toBe('Year 2: 80%');
    expect(cursor.spoken).toBe('');
  });

  it('forgets a point that the chart no longer has', () => {
    let shown = points;
    const cursor = new FigureCursor(() => shown);
    cursor.press('End');
    shown = points.slice(0, 1);
    expect(cursor.index).toBeNull();
    expect(cursor.text).toBe('');
  });
});
