// A number by itself, for what is noted while nobody can be asked: form and check character
// (ISO/IEC 7064 MOD 37,36 over the letters and digits).
const LETTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";

export function tagIn(text) {
  const plain = text.trim().toUpperCase().replace(/^\][A-Z]\d/, "").split("/").pop().replace(/[\s-]/g, "");
  const parts = /^([BTCLR])([A-Z]{2,4})([0-9OI]{5,7})([0-9A-Z])$/.exec(plain);
  if (!parts) return null;
  const [, kind, site, typed, last] = parts;
  const serial = typed.replaceAll("O", "0").replaceAll("I", "1");
  const check = last.replace("O", "0").replace("I", "1");
  return checkOf(kind + site + serial) === check ? `${kind}-${site}-${serial}-${check}` : null;
}

function checkOf(text) {
  let product = 36;
  for (const letter of text) {
    let sum = (product + LETTERS.indexOf(letter)) % 36;
    if (sum === 0) sum = 36;
    product = (sum * 2) % 37;
  }
  return LETTERS[(37 - product) % 36];
}
