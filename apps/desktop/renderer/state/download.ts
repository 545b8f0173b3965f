/** Hand a text to the user as a file to save. */
export function downloadText(name: string, type: string, text: string): void {
  downloadBlob(name, new Blob([text], { type }));
}

/** Hand a file to the user to save. */
export function downloadBlob(name: string, content: Blob): void {
  const address = URL.createObjectURL(content);
  const link = document.createElement('a');
  link.href = address;
  link.download = name;
  document.body.append(link);
  link.click();
  link.remove();
  /* The download reads the address after this turn; giving it up at once would cancel it. */
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}
