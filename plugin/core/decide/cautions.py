"""Cautions that plans carry to the hand-over, in this program's own words.

Grounds: Missouri Extension G4091; Iowa State University Extension newsletters of 1998, 1999 and
2008; Minnesota and Illinois Extension on replanting; for tillage the United States one-call
service and its Oklahoma centre, the Forest Service's guide to subsoiling, and 7 CFR part 12; for
nitrogen and lime Iowa State, Penn State, Kansas State and Oregon State Extension.
"""

REPLANT = (
    "Talk it over with your local extension office, seed supplier and crop insurance agent before "
    "you replant; their tables and terms come before this plan.",
    "Call the insurance agent before the old stand is touched: cover for replanting depends on "
    "dates, on area and on a release, which an agent gives beforehand.",
    "Find out first why the stand is thin. Replanting into the same cause may fail the same way.",
    "Check that a hybrid of the right maturity can be had for the replant date.",
    "Check the labels of herbicides already used and those meant to end the old stand: they may "
    "bar the crop or ask for a wait. Plants left standing act as weeds.",
    "Yield tables are averages over years and places for even stands; one season can differ "
    "widely.",
    "The range of the gain covers how well the stand is known, and nothing else: prices, costs, "
    "dates and the yield table are taken as they were entered.",
    "Patches of two ages are harder to spray and harvest, and thin stands close late and let "
    "weeds in; the plan puts no price on either.",
)

DEEP_TILLAGE = (
    "Before any deep tillage have buried utilities located (in the United States call 811, days "
    "ahead; rules differ by state). Locators do not mark a farm's own lines, and no mark tells "
    "the depth.",
    "Keep clear of tile drains: check the tile map, and remember that old or eroded ones lie "
    "shallower than they were laid.",
    "Check the moisture at working depth: soil must crumble. Soil that rolls into a thread smears "
    "and is packed further.",
    "Where land counts as highly erodible, or a conservation plan applies, ask the agency before "
    "changing tillage; keep residue on top and lift over waterways.",
    "Dig to confirm the layer before tilling, above all in long no-till, where cone readings can "
    "be high without harm to roots.",
    "Depths come from cone readings on one day at one moisture. Local extension advice comes "
    "before this plan.",
    "Whether loosening pays is not worked out here: in trials it raised the yield, changed "
    "nothing or cost yield. The money shown is that of the passes and their fuel alone.",
    "A loosened layer comes back under random traffic; plan the wheel tracks and a rooted cover.",
)

NITROGEN = (
    "The rule was made for one region. Your state's extension table and a licensed adviser come "
    "before this plan.",
    "It holds for samples of the top 12 in (30 cm), taken when the corn is 6 to 12 in tall and "
    "dried or cooled at once; warm, moist samples gain nitrate in the bag.",
    "Rain after the sampling, manure, a plowed-down legume or banded fertilizer change what the "
    "soil will give; a low test in a cold spring does not prove a lack.",
    "The range of the need covers how well the nitrate is known, and nothing else.",
    "Rates of this plan are of nitrogen, not of product: divide by the product's share of "
    "nitrogen, as the rate files do where the record tells it.",
    "Nitrate that the crop does not take up reaches wells and streams. Keep to the local rules on "
    "rates, dates, setbacks and wells, and to the product's label.",
)

LIME = (
    "Lime rates hold for the buffer, depth and region of the method; the laboratory's own "
    "recommendation and your state's extension tables come before this plan.",
    "Never take one buffer's figures through another buffer's table.",
    "The rate is for the lime quality entered: check the analysis of the lime you buy.",
    "Where little or nothing is tilled, lime acts in the top inches alone: sample the top 2 to 3 "
    "in apart and lime for that depth.",
    "A field meter's pH tells where to look; the buffer pH of a laboratory sets the rate.",
    "The range of the need covers how well the buffer pH is known, and nothing else.",
)
