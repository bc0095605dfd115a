// Every text whose contrast to its ground is under 4.5:1 (WCAG 2.2, "contrast ratio").
(() => {
  const parts = (colour) => colour.match(/[0-9.]+/g).map(Number);
  const linear = (v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  const light = (colour) => {
    const [r, g, b] = parts(colour).map((v) => linear(v / 255));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = (node) => {
    for (; node; node = node.parentElement) {
      const colour = getComputedStyle(node).backgroundColor;
      if (parts(colour).length < 4 || parts(colour)[3] > 0) return colour;
    }
    return "rgb(255, 255, 255)";
  };
  const poor = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const words = walk.currentNode.data.trim();
    const node = walk.currentNode.parentElement;
    if (!words || node.closest("script, style, option, #probe")) continue;
    const pair = [light(getComputedStyle(node).color), light(ground(node))];
    if ((Math.max(...pair) + 0.05) / (Math.min(...pair) + 0.05) < 4.5) poor.push(words);
  }
  return [matchMedia("(prefers-color-scheme: dark)").matches, poor];
})()
