"""Names as people write them: what is settled, what a person must look at, and that nothing is settled by likeness.

Expected readings: the tables `taxa.csv` and `taxon_names.csv`; abbreviations are the first three letters of genus and
species, as field recorders write them.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from modelling.names import LONGEST_KEY, MOST_CANDIDATES, SETTLED, Match, distinct, folded, match, members, rank_of
from modelling.selectors import parameters

TAXA = parameters().nouns["taxa"]

#: written -> status, key, rank
WRITTEN = {
    # the names of the table, however they are typed
    "yarrow": ("exact", "achillea_millefolium", "species"),
    "  Yarrow\t": ("exact", "achillea_millefolium", "species"),
    "YARROW": ("exact", "achillea_millefolium", "species"),
    "Achillea millefolium": ("exact", "achillea_millefolium", "species"),
    "ACHILLEA  MILLEFOLIUM": ("exact", "achillea_millefolium", "species"),
    "Ｙａｒｒｏｗ": ("exact", "achillea_millefolium", "species"),
    "achillea_millefolium": ("exact", "achillea_millefolium", "species"),
    "ladys bedstraw": ("exact", "galium_verum", "species"),
    "lady’s bedstraw": ("exact", "galium_verum", "species"),
    "Lady's-bedstraw": ("exact", "galium_verum", "species"),
    "self heal": ("exact", "prunella_vulgaris", "species"),
    "Self-heal": ("exact", "prunella_vulgaris", "species"),
    "ox-eye daisy": ("exact", "leucanthemum_vulgare", "species"),
    "ox eye  daisy": ("exact", "leucanthemum_vulgare", "species"),
    "cocksfoot": ("exact", "dactylis_glomerata", "species"),
    "Yorkshire Fog": ("exact", "holcus_lanatus", "species"),
    "sweet vernal grass": ("exact", "anthoxanthum_odoratum", "species"),
    "cats ear": ("exact", "hypochaeris_radicata", "species"),
    "meadow cranes bill": ("exact", "geranium_pratense", "species"),
    "rough hawk bit": ("exact", "leontodon_hispidus", "species"),
    "Trifolium repéns": ("exact", "trifolium_repens", "species"),
    "Silene flos cuculi": ("exact", "silene_flos_cuculi", "species"),
    # authors, marks of rank
    "Plantago lanceolata L.": ("exact", "plantago_lanceolata", "species"),
    "Rhinanthus minor (L.) Hill": ("exact", "rhinanthus_minor", "species"),
    "Carex flacca Schreb.": ("exact", "carex_flacca", "species"),
    "Leontodon hispidus s.l.": ("exact", "leontodon_hispidus", "aggregate"),
    "Festuca rubra agg.": ("exact", "festuca_rubra", "aggregate"),
    "Taraxacum officinale agg.": ("exact", "taraxacum_officinale_agg", "aggregate"),
    "Taraxacum agg": ("synonym", "taraxacum_officinale_agg", "aggregate"),
    "Lathyrus pratensis (in flower)": ("exact", "lathyrus_pratensis", "species"),
    # other names
    "Senecio jacobaea": ("synonym", "jacobaea_vulgaris", "species"),
    "Stachys officinalis": ("synonym", "betonica_officinalis", "species"),
    "Lychnis flos-cuculi": ("synonym", "silene_flos_cuculi", "species"),
    "Chrysanthemum leucanthemum": ("synonym", "leucanthemum_vulgare", "species"),
    "Agrostis tenuis": ("synonym", "agrostis_capillaris", "species"),
    "Deschampsia caespitosa": ("synonym", "deschampsia_cespitosa", "species"),
    "Phleum pratense subsp. bertolonii": ("synonym", "phleum_bertolonii", "species"),
    "Vicia sativa ssp. nigra": ("synonym", "vicia_sativa", "species"),
    "Lotus corniculatus var. sativus": ("synonym", "lotus_corniculatus", "species"),
    "black knapweed": ("synonym", "centaurea_nigra", "species"),
    "Queen Anne's lace": ("synonym", "anthriscus_sylvestris", "species"),
    "ryegrass": ("synonym", "lolium_perenne", "species"),
    "milfoil": ("synonym", "achillea_millefolium", "species"),
    "rattle": ("synonym", "rhinanthus_minor", "species"),
    "cowslips": ("synonym", "primula_veris", "species"),
    "daisies": ("synonym", "bellis_perennis", "species"),
    "ribwort plantain (Plantago lanceolata)": ("synonym", "plantago_lanceolata", "species"),
    "Plantago lanceolata - ribwort plantain": ("synonym", "plantago_lanceolata", "species"),
    "yarrow / milfoil": ("synonym", "achillea_millefolium", "species"),
    "sorrel, sheep's": ("synonym", "rumex_acetosella", "species"),
    "oak seedling": ("synonym", "quercus_robur", "species"),
    # abbreviations of the field
    "YR": ("synonym", "rhinanthus_minor", "species"),
    "yr": ("synonym", "rhinanthus_minor", "species"),
    "BFT": ("synonym", "lotus_corniculatus", "species"),
    "Pla lan": ("synonym", "plantago_lanceolata", "species"),
    "PLALAN": ("synonym", "plantago_lanceolata", "species"),
    "pla. lan.": ("synonym", "plantago_lanceolata", "species"),
    "P. lanceolata": ("synonym", "plantago_lanceolata", "species"),
    "Pl. lanceolata": ("synonym", "plantago_lanceolata", "species"),
    "R. acris": ("synonym", "ranunculus_acris", "species"),
    "Tri pra": ("synonym", "trifolium_pratense", "species"),
    "Tra pra": ("synonym", "tragopogon_pratensis", "species"),
    "HOLLAN": ("synonym", "holcus_lanatus", "species"),
    "Leuc vulg": ("likely", "leucanthemum_vulgare", "species"),
    # groups
    "dock": ("exact", "rumex_sp", "genus"),
    "a dock": ("synonym", "rumex_sp", "genus"),
    "docks": ("synonym", "rumex_sp", "genus"),
    "Rumex": ("exact", "rumex_sp", "genus"),
    "Rumex sp.": ("exact", "rumex_sp", "genus"),
    "Rumex spp": ("exact", "rumex_sp", "genus"),
    "thistle": ("exact", "cirsium_sp", "genus"),
    "Carduus": ("synonym", "cirsium_sp", "genus"),
    "clover": ("exact", "trifolium_sp", "genus"),
    "buttercup sp": ("exact", "ranunculus_sp", "genus"),
    "grass": ("exact", "poaceae", "aggregate"),
    "grasses": ("synonym", "poaceae", "aggregate"),
    "moss": ("exact", "bryophyta", "aggregate"),
    "Mosses": ("synonym", "bryophyta", "aggregate"),
    "orchid": ("exact", "orchidaceae", "aggregate"),
    # hybrids
    "Primula x polyantha": ("synonym", "primula_sp", "hybrid"),
    "Primula × polyantha": ("synonym", "primula_sp", "hybrid"),
    "Rumex X pratensis": ("synonym", "rumex_sp", "hybrid"),
    "pink campion": ("synonym", "silene_sp", "hybrid"),
    "Plantago x lanceolata": ("several", None, "hybrid"),
    # what a person must look at
    "yellow rattel": ("likely", "rhinanthus_minor", "species"),
    "ribwart plantan": ("likely", "plantago_lanceolata", "species"),
    "oxe eye daisy": ("likely", "leucanthemum_vulgare", "species"),
    "birds foot trefoyle": ("likely", "lotus_corniculatus", "species"),
    "yorks fog": ("likely", "holcus_lanatus", "species"),
    "common yarrow": ("likely", "achillea_millefolium", "species"),
    "sorrel sheeps": ("likely", "rumex_acetosella", "species"),
    "Knautia": ("likely", "knautia_arvensis", "genus"),
    "Plantago lanceolata leaves only": ("likely", "plantago_lanceolata", "species"),
    "tufted vetch (lots)": ("likely", "vicia_cracca", "species"),
    "cranesbill": ("several", None, "genus"),
    "crane's-bill": ("several", None, "genus"),
    "knap weed": ("several", None, "genus"),
    "scabious": ("several", None, "species"),
    "Achillea": ("several", None, "genus"),
    "yarrow/dock": ("several", None, "genus"),
    "carnation grass": ("several", None, "aggregate"),
    # no plants, and nothing at all
    "bare ground": ("unknown", None, "not a plant"),
    "Litter": ("unknown", None, "not a plant"),
    "molehills": ("unknown", None, "not a plant"),
    "zzzzqqq": ("unknown", None, None),
    "x": ("unknown", None, None),
    "": ("unknown", None, None),
    "   ": ("unknown", None, None),
    "\x00": ("unknown", None, None),
    "+": ("unknown", None, None),
    "q" * 200: ("unknown", None, None),
    "?": ("unknown", None, None),
}


@pytest.mark.parametrize("written", WRITTEN, ids=lambda text: repr(text)[:40])
def test_what_is_written_is_read_as(written: str) -> None:
    status, taxon, rank = WRITTEN[written]
    found = match(written)
    assert (found.status, found.taxon, found.rank) == (status, taxon, rank)


def test_there_are_a_hundred_of_them() -> None:
    assert len(WRITTEN) >= 100


@pytest.mark.parametrize(
    ("written", "doubt", "plus", "taxon"),
    [
        ("YR ++", False, "++", "rhinanthus_minor"),
        ("YR+++", False, "+++", "rhinanthus_minor"),
        ("red clover (++)", False, "++", "trifolium_pratense"),
        ("red clover + +", False, "++", "trifolium_pratense"),
        ("white clover?", True, "", "trifolium_repens"),
        ("?white clover", True, "", "trifolium_repens"),
        ("cf. Leontodon hispidus", True, "", "leontodon_hispidus"),
        ("Leontodon cf. hispidus", True, "", "leontodon_hispidus"),
        ("probably yarrow +", True, "+", "achillea_millefolium"),
    ],
)
def test_doubt_and_amount_are_told_apart_from_the_name(written: str, doubt: bool, plus: str, taxon: str) -> None:
    found = match(written)
    assert (found.doubt, found.plus, found.taxon) == (doubt, plus, taxon)
    assert found.settled is not doubt


def test_a_name_of_several_plants_shows_them_all_and_settles_none() -> None:
    found = match("cranesbill?")
    assert found.doubt
    assert not found.settled
    assert {c.taxon for c in found.candidates} == {
        "geranium_dissectum", "geranium_molle", "geranium_pratense", "geranium_sp", "geranium_sylvaticum",
    }  # fmt: skip
    assert "meadow crane's-bill (Geranium pratense)" in {c.name for c in found.candidates}


def test_a_remembered_choice_settles_what_was_open_and_nothing_else() -> None:
    chosen = {folded("cranesbill"): "geranium_pratense", folded("yarrow"): "rumex_sp", folded("knapweed"): "gone"}
    found = match("Crane’s-bill?", remembered=chosen)
    assert (found.status, found.taxon, found.score, found.settled) == ("remembered", "geranium_pratense", 100, True)
    # a name that the table holds is never turned into another
    assert match("yarrow", remembered=chosen).taxon == "achillea_millefolium"
    # a plant that is no longer in the table
    assert match("knapweed", remembered=chosen).status == "several"
    assert match("cranesbill").status == "several"


def test_likeness_alone_never_settles_a_name() -> None:
    others = [row["name"] for row in parameters().nouns["taxon_names"].values()]
    for row in TAXA.values():
        others += [row["scientific_name"], row["english_name"], *row["synonyms"].split(";")]
    known = {folded(name) for name in others}
    tried = 0
    for name in [row["english_name"] for row in TAXA.values()]:
        for wrong in (name[1:], name[:-1], name[:3] + "q" + name[4:]):
            if not known & {folded(wrong), folded(wrong).removesuffix("s"), folded(wrong).removesuffix("es")}:
                tried += 1
                assert match(wrong).status not in SETTLED, wrong
    assert tried > 500


@pytest.mark.parametrize("key", TAXA)
def test_a_plants_own_names_are_always_its_own(key: str) -> None:
    row = TAXA[key]
    for name in (row["scientific_name"], row["english_name"], row["english_name"].upper(), key):
        found = match(name)
        assert (found.status, found.taxon, found.score) == ("exact", key, 100)
        assert found.rank == rank_of(key)


def test_no_two_plants_share_a_name_of_their_own() -> None:
    names = [(folded(row[column]), key) for key, row in TAXA.items() for column in ("scientific_name", "english_name")]
    assert len({name for name, _ in names}) == len(names)


def test_every_other_name_leads_to_its_plant() -> None:
    for row in parameters().nouns["taxon_names"].values():
        found = match(row["name"])
        if row["taxon"]:
            assert row["taxon"] in {c.taxon for c in found.candidates} or found.status == "exact", row["name"]
        else:
            assert found.rank == "not a plant"


def test_a_group_knows_what_it_may_be_and_counts_once() -> None:
    assert {"rumex_crispus", "rumex_obtusifolius", "rumex_acetosa"} <= members("rumex_sp")
    assert {"cirsium_arvense", "carduus_nutans"} <= members("cirsium_sp")
    assert {"dactylorhiza_fuchsii", "ophrys_apifera"} <= members("orchidaceae")
    assert "lolium_perenne" in members("poaceae")
    assert members("bryophyta") == members("achillea_millefolium") == members("no_such_key") == frozenset()
    assert distinct(["rumex_sp", "rumex_crispus", "bellis_perennis"]) == {"rumex_crispus", "bellis_perennis"}
    assert distinct(["rumex_sp", "rumex_sp"]) == {"rumex_sp"}
    assert distinct(["poaceae", "festuca_sp", "festuca_rubra"]) == {"festuca_rubra"}


def test_the_folded_key_is_short_plain_and_the_same_for_the_same_name() -> None:
    forms = ("Lady’s Bedstraw", "ladys  bedstraw?", "LADY'S-BEDSTRAW ++", "Ládys bedstraw")
    assert {folded(form) for form in forms} == {"ladysbedstraw"}
    assert folded("Rumex sp.") == folded("rumex") == "rumex"
    assert len(folded("a1" * 500)) == LONGEST_KEY


@given(st.text(max_size=300))
def test_any_text_gets_an_answer(text: str) -> None:
    found = match(text)
    assert isinstance(found, Match)
    assert 0 <= found.score <= 100
    assert len(found.candidates) <= MOST_CANDIDATES
    assert (found.taxon is None) == (found.status in {"several", "unknown"})
    assert found.folded == folded(text)
    assert "\x00" not in found.folded
    assert match(text) == found


WORDS = sorted(
    {word for row in TAXA.values() for name in ("scientific_name", "english_name") for word in row[name].split()}
)


@given(
    st.lists(st.sampled_from([*WORDS, "x", "×", "sp.", "agg.", "cf.", "(", ")", "/", "-", "+", "?", "L."]), max_size=8)
)
def test_any_heap_of_botanical_words_gets_an_answer(words: list[str]) -> None:
    found = match(" ".join(words))
    assert (found.taxon is None) == (found.status in {"several", "unknown"})
    assert found.taxon is None or found.taxon in TAXA
