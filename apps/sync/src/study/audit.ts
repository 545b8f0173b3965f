import type { AuditAction } from '@longhold/core/exchange';
import type { DeviceRow, StudyWriter } from '../store/sync-store';

/** The month of a moment, UTC: 2026-03. */
export function monthOf(moment: Date): string {
  return moment.toISOString().slice(0, 7);
}

/** Writes down what a device did at this moment. */
export async function noteAct(
  writer: StudyWriter,
  act: {
    readonly at: Date;
    /** Null for the service's own operator. */
    readonly device: Pick<DeviceRow, 'id' | 'member'> | null;
    readonly action: AuditAction;
    readonly subject?: string;
  },
): Promise<void> {
  await writer.addAudit({
    at: act.at.toISOString(),
    member: act.device?.member ?? null,
    device: act.device?.id ?? null,
    action: act.action,
    subject: act.subject ?? '',
    count: 1,
  });
}

/**
 * Counts what a device did to records, by month only. A finer time, together with the order of changes and the days
 * since time zero inside the records, would give away dates of patients.
 */
export async function countByMonth(
  writer: StudyWriter,
  act: {
    readonly at: Date;
    /** Null for the service's own operator. */
    readonly device: Pick<DeviceRow, 'id' | 'member'> | null;
    readonly action: AuditAction;
    readonly count: number;
    readonly subject?: string;
  },
): Promise<void> {
  if (act.count === 0) return;
  await writer.addAudit({
    at: monthOf(act.at),
    member: act.device?.member ?? null,
    device: act.device?.id ?? null,
    action: act.action,
    subject: act.subject ?? '',
    count: act.count,
  });
}
