import { join } from 'node:path';
import { connectPostgres } from './postgres/connect';
import { openPostgresStore } from './postgres/postgres-store';
import { openSqliteStore } from './sqlite/sqlite-store';
import type { SyncStore } from './sync-store';

/** Where a store is: a file, or a PostgreSQL by its address. */
export type StorePlace =
  { readonly kind: 'sqlite'; readonly path: string } | { readonly kind: 'postgres'; readonly url: string };

/** Opens the store at a place; `folderOfKinds` holds one folder for each kind, with the migrations in it or in `within`. */
export async function openStore(place: StorePlace, folderOfKinds: string, within = '.'): Promise<SyncStore> {
  const folder = join(folderOfKinds, place.kind, within);
  return place.kind === 'sqlite'
    ? openSqliteStore({ path: place.path, migrationsFolder: folder })
    : openPostgresStore(await connectPostgres({ url: place.url, migrationsFolder: folder }));
}
