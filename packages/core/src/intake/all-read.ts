type Readings = Record<string, unknown>;
type Read<T extends Readings> = { [Key in keyof T]: Exclude<T[Key], undefined> };

/** The cells of a row if none of them is undefined (faulty), else undefined. */
export function allRead<T extends Readings>(cells: T): Read<T> | undefined {
  return isRead(cells) ? cells : undefined;
}

function isRead<T extends Readings>(cells: T): cells is T & Read<T> {
  for (const name in cells) if (cells[name] === undefined) return false;
  return true;
}
