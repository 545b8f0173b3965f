import { describe, expect, it } from 'vitest';
import { Route } from './route.svelte';

function fakeBar(start: string) {
  const steps = [start];
  return {
    steps,
    hash: () => steps.at(-1) ?? '',
    push: (hash: string) => void steps.push(hash),
    replace: (hash: string) => void steps.splice(-1, 1, hash),
  };
}

describe('the route', () => {
  it('keeps a question while another screen is looked at', () => {
    const bar = fakeBar('#/outcomes?measure=SNB');
    const route = new Route(bar);
    bar.push('#/methods');
    route.follow();
    expect(route.screen).toBe('methods');
    expect(route.linkTo('outcomes')).toContain('measure=SNB');
  });

  it('makes a step in the history for a choice and none for typing', () => {
    const bar = fakeBar('#/recall');
    const route = new Route(bar);
    route.change(new URLSearchParams('state=due'));
    route.change(new URLSearchParams('state=due&text=P'), 'replace');
    expect(bar.steps).toEqual(['#/recall', '#/recall?state=due&text=P']);
    bar.steps.pop();
    route.follow();
    expect(route.query.has('state')).toBe(false);
  });

  it('names what it cannot read in an address, also where that asks no question at all', () => {
    const bar = fakeBar('#/outcomes?measure=Nope&rule=x');
    const route = new Route(bar);
    expect(route.unread.map(({ written }) => written)).toEqual(['measure=Nope', 'rule=x']);
    bar.push('#/outcomes?mesure=SNB');
    route.follow();
    expect(route.unread.map(({ written }) => written)).toEqual(['mesure=SNB']);
    bar.push('#/outcomes?measure=SNB');
    route.follow();
    expect(route.unread).toEqual([]);
  });

  it('starts a list at its first page when another question is asked', () => {
    const bar = fakeBar('#/patients?measure=SNB&status=lost&page=4');
    const route = new Route(bar);
    route.ask({ ...route.question, rule: 'confirmed' });
    expect(route.query.get('page')).toBeNull();
    expect(route.query.get('status')).toBe('lost');
    expect(route.question.rule).toBe('confirmed');
  });
});
