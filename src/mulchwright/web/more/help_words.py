"""The trade's words, each in a sentence or two: what the search finds beside beds, supplies and the logbook.

Plain definitions as growers use them: common practice, no source.
"""

from __future__ import annotations

HELP_WORDS = {
    "Button": "A young mushroom whose cap has not opened yet.",
    "Casing": "A thin top layer of soil or fine bark that keeps a bed moist; many mushrooms form in it.",
    "Colonized": "Grown through by mycelium. A fully colonized bed is white throughout and holds together.",
    "Fines": "The finest part of shredded wood or bark, such as sifted bark dust.",
    "Flush": "A wave of mushrooms that come up within a few days. A bed rests between flushes.",
    "Fruiting": "Growing mushrooms, after the mycelium has colonized its food.",
    "Hardwood chips": "Wood of broad-leaved trees, chipped. The usual food of wine caps.",
    "Leap-off": "The first growth of mycelium out of the spawn into fresh chips or straw.",
    "Look-alike": "Another mushroom that can be taken for the one you planted. Some are dangerous.",
    "Moisture": "The share of water in the weight of a layer. Squeezed hard, good straw gives a few drops.",
    "Mycelium": "The living strands a mushroom grows from. They eat the chips or straw and carry water.",
    "Pin": "The first tiny mushroom, the size of a pinhead. Within days it is ready to pick.",
    "Pinning": "The days when pins form, usually after rain and a change in temperature.",
    "Renewal": "Giving a bed new food: topping up, or clearing it and building again.",
    "Ripening": "The time a colonized bed needs before its first mushrooms.",
    "Soak": "Leaving straw or dry chips in water for a day or more before you build.",
    "Spawn": "Mycelium grown on sawdust, grain or pegs: what you plant a bed with.",
    "Spawn layer": "The level in a bed where spawn is spread between two layers of food.",
    "Spawn run": "The weeks or months in which mycelium grows from the spawn through the bed.",
    "Spent": "Used up: so little food is left that no more flushes are likely.",
    "Spore print": "The color a cap leaves on paper overnight. It tells many look-alikes apart, not all.",
    "Substrate": "What the mycelium feeds on: chips, straw, leaves or compost.",
    "Top up": "Spreading fresh chips or straw on a bed to feed it.",
}
