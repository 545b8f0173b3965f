import type { SpeedCase } from './speed-case';

export const MIXED_SPEED: readonly SpeedCase[] = [];
