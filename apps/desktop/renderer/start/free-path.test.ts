import { expect, it } from 'vitest';
import { freePath } from './free-path';

it('a new store is offered a name that is not taken', () => {
  const folder = '/home/clinic';
  expect(freePath({ folder, existing: [] })).toBe('/home/clinic/clinic.longhold');
  expect(freePath({ folder, existing: ['/home/clinic/clinic.longhold'] })).toBe(
    '/home/clinic/clinic-2.longhold',
  );
  expect(freePath({ folder: 'C:\\Clinic', existing: [] })).toBe('C:\\Clinic\\clinic.longhold');
});
