// What reads a QR in a picture: the browser's own detector where it is there and knows QR, else the reader that our
// server gave along with these pages. readPicture(image) gives the texts in it; null if there is no reader at all.
const about = document.getElementById("scanning");
let found = null;

async function own() {
  if (!("BarcodeDetector" in window)) return null;
  // The name may be there where the platform's service is not.
  const formats = await BarcodeDetector.getSupportedFormats().catch(() => []);
  if (!formats.includes("qr_code")) return null;
  const detector = new BarcodeDetector({ formats: ["qr_code"] });
  return async (image) => (await detector.detect(image)).map((one) => one.rawValue);
}

function pixels(image) {
  const width = image.videoWidth ?? image.width;
  const height = image.videoHeight ?? image.height;
  const canvas = new OffscreenCanvas(width, height);
  const drawing = canvas.getContext("2d", { willReadFrequently: true });
  drawing.drawImage(image, 0, 0, width, height);
  return drawing.getImageData(0, 0, width, height);
}

async function ours() {
  if (!about?.dataset.reader) return null;
  const reader = await import(about.dataset.reader);
  reader.prepareZXingModule({ overrides: { locateFile: () => about.dataset.wasm } });
  const options = { formats: ["QRCode"], tryHarder: true, maxNumberOfSymbols: 4 };
  return async (image) => {
    const read = await reader.readBarcodes(pixels(image), options);
    return read.filter((one) => one.isValid).map((one) => one.text);
  };
}

export const readPicture = () =>
  (found ??= (async () => (await own()) ?? (await ours().catch(() => null)))());

export const hasReader = () => "BarcodeDetector" in window || Boolean(about?.dataset.reader);
