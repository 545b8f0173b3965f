import { describe, expect, it } from 'vitest';
import { filterList, readView, writeView } from './list-address';

const first = { sort: 'late', descending: true };

describe('a list in the address', () => {
  it('is sorted as at first when the address says nothing', () => {
    expect(readView(new URLSearchParams(), first)).toEqual({ sort: 'late', descending: true, page: 1 });
  });

  it('is read back as it was written', () => {
    const view = { sort: 'code', descending: false, page: 3 };
    expect(readView(writeView(new URLSearchParams('state=due'), view), first)).toEqual(view);
  });

  it('starts at page 1 when filtered, or when the page makes no sense', () => {
    expect(filterList(new URLSearchParams('page=7'), { state: 'due' }).toString()).toBe('state=due');
    expect(readView(new URLSearchParams('page=-2'), first).page).toBe(1);
    expect(readView(new URLSearchParams('page=x'), first).page).toBe(1);
  });
});
