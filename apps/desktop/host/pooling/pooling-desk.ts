import type { ProcedureAnswer, ProcedureInput } from '@longhold/core/exchange';
import type { Sending } from '../store';
import type {
  LinkFile,
  MakingProgress,
  Page,
  PoolingConflict,
  PoolingPreview,
  PoolingProgress,
  PoolingState,
  PreviewedRecord,
  RecordStanding,
  SentBatch,
  Unlinked,
  Withdrawal,
} from './answers';

/** What can be asked of the service on behalf of the screens, without anything changing in the store. */
export type AskedThrough =
  'pooled' | 'definition' | 'devices' | 'invite' | 'revoke' | 'removeMember' | 'audit';

/** Everything that the screens and the command line do with pooling. Failures are HostFailures or StoreErrors. */
export interface PoolingDesk {
  state(): Promise<PoolingState>;
  link(address: string, code: string, sends: Sending | null): Promise<PoolingState>;
  linkByFile(text: string, passphrase: string): Promise<PoolingState>;
  makeLinkFile(passphrase: string): Promise<LinkFile>;
  unlink(): Promise<Unlinked>;
  startCheck(): Promise<PoolingProgress>;
  preview(): Promise<PoolingPreview | null>;
  records(page: {
    readonly digest: string;
    readonly standing: RecordStanding | null;
    readonly search: string;
    readonly offset: number;
    readonly limit: number;
  }): Promise<Page<PreviewedRecord>>;
  making(): MakingProgress;
  stopMaking(): Promise<void>;
  startSend(digest: string): Promise<PoolingProgress>;
  progress(): PoolingProgress;
  stop(): void;
  history(page: { readonly offset: number; readonly limit: number }): Promise<Page<SentBatch>>;
  withdraw(patient: { readonly code: string } | { readonly pseudonym: string }): Promise<PoolingProgress>;
  /** Withdraws all patients whose withdrawal waits for a confirmation; the digest names exactly these. */
  confirmWithdrawals(digest: string): Promise<PoolingProgress>;
  withdrawals(): Promise<readonly Withdrawal[]>;
  conflicts(): Promise<readonly PoolingConflict[]>;
  choose(choice: {
    readonly pseudonym: string;
    readonly keep: 'mine' | 'theirs';
    readonly mineDigest: string;
    readonly theirsVersion: string;
  }): Promise<readonly PoolingConflict[]>;
  ask<Name extends AskedThrough>(name: Name, input: ProcedureInput<Name>): Promise<ProcedureAnswer<Name>>;
  publish(input: ProcedureInput<'publish'>): Promise<ProcedureAnswer<'publish'>>;
}
