import { describe, expect, it } from 'vitest';
import { isOwnPage, isPageAddress } from './page-address';

const OWN = ['longhold://app/', 'longhold://app/index.html#/outcomes?measure=Co-Gn'];

/** Addresses that hold the page's own somewhere in them, or nearly are it. */
const FOREIGN = [
  'https://example.invalid/?longhold://app/',
  'https://longhold.example.invalid/app/',
  'longhold://app.example.invalid/',
  'longhold://app:8080/',
  'longhold://user@app/',
  'longhold://app@example.invalid/',
  'longhold:///app/',
  'longholds://app/',
  'file:///longhold://app/index.html',
  'http://127.0.0.1/',
  'javascript:alert(1)//longhold://app/',
  'about:blank',
  '',
  'app',
];

describe('the addresses of the page', () => {
  it.each(OWN)('%s is one', (address) => {
    expect(isPageAddress(address)).toBe(true);
  });
  it.each(FOREIGN)('"%s" is none', (address) => {
    expect(isPageAddress(address)).toBe(false);
  });
});

describe('who may ask the host', () => {
  it('the page itself, and not a frame in it, a page from elsewhere or a frame that is gone', () => {
    const url = 'longhold://app/index.html';
    expect(isOwnPage({ url, parent: null })).toBe(true);
    expect(isOwnPage({ url, parent: {} })).toBe(false);
    expect(isOwnPage({ url: 'https://example.invalid/', parent: null })).toBe(false);
    expect(isOwnPage(null)).toBe(false);
  });
});
