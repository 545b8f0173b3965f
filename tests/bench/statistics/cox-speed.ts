import type { SpeedCase } from './speed-case';

export const COX_SPEED: readonly SpeedCase[] = [];
