//! `fit` on the command line: every model, ranks, stated shapes, priors.

use serde_json::Value;

use super::{case, file_of, json, wearbook};

fn lives_file(text: &str) -> tempfile::NamedTempFile {
    let file = tempfile::Builder::new().suffix(".csv").tempfile().unwrap();
    std::fs::write(file.path(), text).unwrap();
    file
}

#[test]
fn every_model_can_be_asked_for_and_stands_beside_the_others() {
    let nist = case("lognormal", "lognormal-nist-105c");
    let file = file_of(&nist);
    let path = file.path().to_str().unwrap();
    let fit = |more: &[&str]| -> Value {
        let mut args = vec!["fit", "--lives", path];
        args.extend(more);
        json(&args)["fits"][0].clone()
    };
    let lognormal = fit(&["--model", "lognormal", "--limits", "wald"]);
    let judge = |name: &str, value: f64| nist.expected(name).unwrap().judge(&nist, value);
    let number = |value: &Value| value.as_f64().unwrap();
    judge("sigma", number(&lognormal["shape"]["estimate"]));
    judge("mu", number(&lognormal["scale"]["estimate"]).ln());
    judge("mu.wald90.lower", number(&lognormal["scale"]["lower"]).ln());
    judge("sigma.wald90.upper", number(&lognormal["shape"]["upper"]));
    judge("b10", number(&lognormal["life_at"][1]["estimate"]));
    judge("loglik", number(&lognormal["log_likelihood"]));
    judge("aicc.lognormal", number(&lognormal["aicc"]));
    let exponential = fit(&["--model", "exponential"]);
    judge("exponential.mean", number(&exponential["mean"]["estimate"]));
    assert_eq!(exponential["limits"]["kind"], "chi-square");
    assert_eq!(exponential["shape"]["estimate"], 1.0);
    // The plain Weibull tells that another model is better, and best takes it.
    let weibull = fit(&[]);
    judge("aicc.weibull", number(&weibull["aicc"]));
    let models = weibull["models"].as_array().unwrap();
    assert_eq!(models.len(), 4);
    assert_eq!(models[3]["model"], "lognormal");
    assert_eq!(models[3]["chosen"], true);
    assert!(notes(&weibull).contains("--model lognormal shows it"));
    let best = fit(&["--model", "best"]);
    assert_eq!(best["model"], "lognormal");
    assert!(notes(&best).contains("by AICc the lognormal is chosen"));
    let plain = fit(&["--plain"]);
    assert!(plain["fit_test"].is_null() && plain["models"].as_array().unwrap().is_empty());
}

fn notes(fit: &Value) -> String {
    fit["notes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|n| n.as_str().unwrap())
        .collect::<Vec<_>>()
        .join("\n")
}

#[test]
fn a_location_is_fitted_with_limits_and_its_absence_is_told() {
    let three = case("three-parameter", "three-parameter-lockhart-stephens");
    let file = file_of(&three);
    let path = file.path().to_str().unwrap();
    for kind in ["posterior", "wald"] {
        let found = json(&[
            "fit", "--lives", path, "--model", "weibull3", "--limits", kind,
        ]);
        let fit = &found["fits"][0];
        for (name, value) in [
            ("shape", &fit["shape"]),
            ("scale", &fit["scale"]),
            ("threshold", &fit["location"]),
            ("mttf", &fit["mean"]),
            ("b10", &fit["life_at"][1]),
        ] {
            let number = |key: &str| value[key].as_f64().unwrap();
            three
                .expected(name)
                .unwrap()
                .judge(&three, number("estimate"));
            assert!(number("lower") < number("upper"), "{kind} {name}");
        }
        three
            .expected("aicc.weibull3")
            .unwrap()
            .judge(&three, fit["aicc"].as_f64().unwrap());
    }
    let early = lives_file("lo,hi\n1,1\n2,2\n3,3\n9,9\n40,40\n200,200\n");
    let none = json(&[
        "fit",
        "--lives",
        early.path().to_str().unwrap(),
        "--model",
        "weibull3",
    ]);
    assert!(none["fits"][0]["shape"].is_null());
    assert!(notes(&none["fits"][0]).contains("has no maximum"));
}

#[test]
fn a_stated_shape_speaks_without_any_failure() {
    let zero = case("one-parameter", "one-parameter-zero-failures");
    let file = file_of(&zero);
    let path = file.path().to_str().unwrap();
    let found = json(&["fit", "--lives", path, "--shape", "2"]);
    let fit = &found["fits"][0];
    assert!(fit["scale"]["estimate"].is_null() && fit["scale"]["upper"].is_null());
    // Two-sided 90 % has a lower limit of one-sided 95 %.
    zero.expected("scale.lower95")
        .unwrap()
        .judge(&zero, fit["scale"]["lower"].as_f64().unwrap());
    zero.expected("b10.lower95")
        .unwrap()
        .judge(&zero, fit["life_at"][1]["lower"].as_f64().unwrap());
    assert!(notes(fit).contains("one-sided with 95 % confidence"));
    let three = case("one-parameter", "one-parameter-three-failures");
    let file = file_of(&three);
    let path = file.path().to_str().unwrap();
    let found = json(&["fit", "--lives", path, "--shape", "1.5"]);
    let scale = &found["fits"][0]["scale"];
    for (name, key) in [
        ("scale", "estimate"),
        ("scale.two_sided90.lower", "lower"),
        ("scale.two_sided90.upper", "upper"),
    ] {
        three
            .expected(name)
            .unwrap()
            .judge(&three, scale[key].as_f64().unwrap());
    }
    let posterior = json(&[
        "fit",
        "--lives",
        path,
        "--shape",
        "1.5",
        "--limits",
        "posterior",
    ]);
    let lower = posterior["fits"][0]["scale"]["lower"].as_f64().unwrap();
    assert!(lower > scale["lower"].as_f64().unwrap());
}

#[test]
fn ranks_are_reached_from_the_command_line() {
    let rank = case("rank-regression", "rank-ball-bearings");
    let file = file_of(&rank);
    let path = file.path().to_str().unwrap();
    let ask = |more: &[&str]| {
        let mut args = vec!["fit", "--lives", path, "--method", "ranks"];
        args.extend(more);
        json(&args)["fits"][0].clone()
    };
    let exact = ask(&[]);
    let benard = ask(&["--ranks", "benard", "--regress", "y-on-x"]);
    assert_eq!(exact["method"], "ranks");
    assert_eq!(exact["limits"]["kind"], "none");
    assert!(exact["log_likelihood"].is_null());
    let number = |value: &Value| value.as_f64().unwrap();
    assert!(number(&exact["r_squared"]) > 0.9);
    assert!(number(&exact["r_squared_critical"]) > 0.8);
    assert!(number(&exact["shape"]["estimate"]) != number(&benard["shape"]["estimate"]));
    let lognormal = ask(&["--model", "lognormal"]);
    assert_eq!(lognormal["model"], "lognormal");
}

#[test]
fn a_prior_for_the_shape_narrows_the_limits_and_says_so() {
    let file = lives_file("lo,hi\n500,500\n800,\n900,\n");
    let path = file.path().to_str().unwrap();
    // One failure: the flat prior leaves the shape open, a stated one closes it.
    let flat = json(&["fit", "--lives", path]);
    assert!(flat["fits"][0]["shape"]["lower"].is_null());
    let stated = json(&["fit", "--lives", path, "--shape-prior", "1.5,4"]);
    let shape = &stated["fits"][0]["shape"];
    assert!(shape["lower"].as_f64().unwrap() > 1.0 && shape["upper"].as_f64().unwrap() < 6.0);
    assert!(notes(&stated["fits"][0]).contains("prior for the shape, 1.5 to 4"));
}

/// What does not go together is refused in words, with the exit code of wrong use.
#[test]
fn options_of_fit_that_contradict_each_other_are_refused() {
    let file = lives_file("lo,hi\n500,500\n800,\n900,900\n");
    let path = file.path().to_str().unwrap();
    for (args, words) in [
        (&["--ranks", "benard"][..], "add --method ranks"),
        (
            &["--method", "ranks", "--model", "weibull3"],
            "a line through ranks",
        ),
        (
            &["--method", "ranks", "--limits", "wald"],
            "comes without limits",
        ),
        (&["--shape", "2", "--model", "lognormal"], "beside --shape"),
        (&["--limits", "chi-square"], "single parameter"),
        (
            &["--model", "weibull3", "--limits", "likelihood-ratio"],
            "posterior or wald",
        ),
        (&["--shape-prior", "register"], "has no register"),
    ] {
        let mut all = vec!["fit", "--lives", path];
        all.extend(args);
        let output = wearbook(&all).output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{args:?}: {said}");
        assert!(said.contains(words), "{args:?}: {said}");
    }
}

/// Both modes of the pump, each with the other as cut short, and what they make together.
#[test]
fn modes_are_kept_apart_and_told_together() {
    let pump = case("competing-modes", "modes-seal-bearing");
    let mut text = String::from("lo,hi,mode\n");
    for life in pump.data["lives"].as_array().unwrap() {
        let cell = |key: &str| match &life[key] {
            Value::Null => String::new(),
            Value::String(text) => text.clone(),
            value => value.to_string(),
        };
        text.push_str(&format!("{},{},{}\n", cell("lo"), cell("hi"), cell("mode")));
    }
    let file = lives_file(&text);
    let path = file.path().to_str().unwrap();
    let found = json(&["fit", "--lives", path, "--by", "mode"]);
    let judge = |name: &str, value: &Value| {
        pump.expected(name)
            .unwrap_or_else(|| panic!("no {name}"))
            .judge(&pump, value.as_f64().unwrap());
    };
    for fit in found["fits"].as_array().unwrap() {
        let mode = fit["mode"].as_str().unwrap();
        judge(&format!("shape[{mode}]"), &fit["shape"]["estimate"]);
        judge(&format!("scale[{mode}]"), &fit["scale"]["estimate"]);
        judge(&format!("loglik[{mode}]"), &fit["log_likelihood"]);
    }
    let whole = &found["together"][0];
    judge("b10_all", &whole["life_at"][1]["estimate"]);
    judge("b50_all", &whole["life_at"][2]["estimate"]);
    judge("mttf_all", &whole["mean"]);
    for part in whole["modes"].as_array().unwrap() {
        judge(
            &format!("share[{}]", part["mode"].as_str().unwrap()),
            &part["share"],
        );
    }
    let csv = wearbook(&["fit", "--lives", path, "--by", "mode", "--format", "csv"])
        .output()
        .unwrap();
    let csv = String::from_utf8(csv.stdout).unwrap();
    let mut rows = csv::Reader::from_reader(csv.as_bytes());
    let mean = rows
        .headers()
        .unwrap()
        .iter()
        .position(|h| h == "mean_estimate")
        .unwrap();
    let last = rows.records().map(Result::unwrap).last().unwrap();
    assert_eq!(&last[3], "all together");
    let mttf: f64 = last[mean].parse().unwrap();
    pump.expected("mttf_all").unwrap().judge(&pump, mttf);
}

/// The files of a folder with their text, by name.
fn files(folder: &std::path::Path) -> Vec<(String, String)> {
    let mut files: Vec<(String, String)> = std::fs::read_dir(folder)
        .unwrap()
        .map(|file| file.unwrap().path())
        .map(|path| {
            let name = path.file_name().unwrap().to_str().unwrap().to_owned();
            (name, std::fs::read_to_string(&path).unwrap())
        })
        .collect();
    files.sort();
    files
}

/// The title of a picture, and all its other words.
fn words_of(svg: &str) -> (String, String) {
    let picture = roxmltree::Document::parse(svg).unwrap();
    let of = |tag: &str| -> Vec<String> {
        picture
            .descendants()
            .filter(|n| n.tag_name().name() == tag)
            .map(|n| n.text().unwrap_or_default().to_owned())
            .collect()
    };
    let said = [of("desc"), of("text")].concat();
    (of("title").concat(), said.join("\n"))
}

#[test]
fn charts_go_to_a_folder_of_their_own_one_a_group() {
    let mut text = String::from("lo,hi,group\n");
    // Three that make the same file name, one that would leave the folder, one without letters.
    for (n, group) in ["../x", "A/B", "a b", "A<&B>", "…"].iter().enumerate() {
        for life in [410, 620, 700 + n, 980] {
            text.push_str(&format!("{life},{life},{group}\n"));
        }
    }
    text.push_str("300,,idle\n450,,idle\n");
    let file = lives_file(&text);
    let room = tempfile::tempdir().unwrap();
    let folder = room.path().join("plots/of lives");
    let call = |more: &[&str]| {
        let lives = file.path().to_str().unwrap();
        let charts = folder.to_str().unwrap();
        let mut args = vec!["fit", "--lives", lives, "--charts", charts];
        args.extend(more);
        wearbook(&args).output().unwrap()
    };
    let output = call(&["--by", "group"]);
    assert!(output.status.success());
    let told = String::from_utf8(output.stderr).unwrap();
    let wanted = format!("6 probability plots in {}\n", folder.display());
    assert_eq!(told, wanted);
    let found = files(&folder);
    let names: Vec<&str> = found.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(
        names,
        [
            "a-b-2-fit.svg",
            "a-b-3-fit.svg",
            "a-b-fit.svg",
            "group-fit.svg",
            "idle-fit.svg",
            "x-fit.svg"
        ]
    );
    let mut titles: Vec<String> = found.iter().map(|(_, svg)| words_of(svg).0).collect();
    titles.sort();
    let mut groups = ["../x", "A/B", "a b", "A<&B>", "…", "idle"]
        .map(|group| format!("{group}: how lives spread"));
    groups.sort();
    assert_eq!(titles, groups);
    let (_, said) = words_of(&found[0].1);
    for words in ["fitted Weibull", "90 % limits", "product-limit estimate"] {
        assert!(said.contains(words), "{words}: {said}");
    }
    // Without a fit the lives stand there alone.
    let (_, idle) = words_of(&found[4].1);
    assert!(idle.contains("No failure on record") && !idle.contains("fitted Weibull"));
    // Again, of all together and by another model; the remark is no word for a quiet call.
    let quiet = call(&["--model", "lognormal", "--quiet"]);
    assert!(quiet.status.success() && quiet.stderr.is_empty());
    let found = files(&folder);
    assert_eq!(found.len(), 7);
    let (title, said) = words_of(&found[2].1);
    assert_eq!(
        (found[2].0.as_str(), title.as_str()),
        ("a-b-fit.svg", "A/B: how lives spread")
    );
    assert!(said.contains("fitted Weibull"));
    let all = found.iter().find(|(name, _)| name == "all-lives-fit.svg");
    let (title, said) = words_of(&all.unwrap().1);
    assert_eq!(title, "All lives: how lives spread");
    assert!(said.contains("fitted lognormal") && said.contains("90 % limits"));
}

#[test]
fn charts_of_a_ledger_carry_its_usage_and_the_figures_of_the_result() {
    let room = tempfile::tempdir().unwrap();
    let folder = room.path().to_str().unwrap();
    let args = [
        "fit",
        "sample-ledger",
        "--component",
        "packing-set",
        "--plain",
    ];
    let found = json(&[&args[..], &["--charts", folder]].concat());
    let fits = found["fits"].as_array().unwrap();
    let pictures = files(room.path());
    assert_eq!(pictures.len(), fits.len());
    let (title, said) = words_of(&pictures[1].1);
    assert_eq!(pictures[1].0, "packing-set-p2-fit.svg");
    assert_eq!(title, "packing-set P2: how lives spread");
    assert!(said.contains("Running hours (h)"), "{said}");
    let b10 = &fits[1]["life_at"][1];
    let rounded = |key: &str| {
        let value = b10[key].as_f64().unwrap();
        wearbook::chart::significant(value, 3)
    };
    let label = format!(
        "B10 {} h ({} to {})",
        rounded("estimate"),
        rounded("lower"),
        rounded("upper")
    );
    assert!(said.contains(&label), "{label}: {said}");
}

#[test]
fn what_no_paper_holds_is_told_and_the_figures_stand() {
    let far =
        lives_file("lo,hi,count,group\n1,1,1,far\n9e15,9e15,1,far\n5,5,1,many\n7,,10000,many\n");
    let room = tempfile::tempdir().unwrap();
    let (lives, folder) = (far.path().to_str().unwrap(), room.path().to_str().unwrap());
    let args = [
        "fit", "--lives", lives, "--by", "group", "--plain", "--charts", folder,
    ];
    let output = wearbook(&args).output().unwrap();
    assert!(output.status.success() && !output.stdout.is_empty());
    let told = String::from_utf8(output.stderr).unwrap();
    assert!(told.starts_with("0 probability plots in "), "{told}");
    assert!(
        told.contains("1 group of more than 10,000 lives: too many to plot"),
        "{told}"
    );
    assert!(
        told.contains("no plot of far: the usage axis cannot show"),
        "{told}"
    );
    assert!(files(room.path()).is_empty());
}

#[test]
fn the_estimate_behind_the_line_can_be_the_hazard_sum() {
    let file = lives_file("lo,hi\n410,410\n620,620\n700,\n980,980\n1500,1500\n");
    let room = tempfile::tempdir().unwrap();
    let said = |behind: &str| -> String {
        let folder = room.path().join(behind);
        let charts = folder.to_str().unwrap();
        let lives = file.path().to_str().unwrap();
        let args = [
            "fit", "--lives", lives, "--charts", charts, "--behind", behind,
        ];
        assert!(wearbook(&args).output().unwrap().status.success());
        words_of(&files(&folder)[0].1).1
    };
    assert!(said("hazard-sum").contains("from the hazard sum (Nelson-Aalen)"));
    assert!(said("product-limit").contains("product-limit estimate"));
}
