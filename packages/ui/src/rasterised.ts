/** Pixels for each unit of the drawing, enough for print at the width of a page. */
const SCALE = 2.5;

/** A drawing as a PNG picture; null where the window cannot draw it. */
export async function rasterised(svg: string): Promise<Blob | null> {
  const image = new Image();
  image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(svg)}`;
  try {
    await image.decode();
  } catch {
    return null;
  }
  const canvas = document.createElement('canvas');
  canvas.width = Math.round(image.naturalWidth * SCALE);
  canvas.height = Math.round(image.naturalHeight * SCALE);
  const context = canvas.getContext('2d');
  if (context === null) return null;
  context.drawImage(image, 0, 0, canvas.width, canvas.height);
  return new Promise((resolve) => canvas.toBlob(resolve, 'image/png'));
}
