from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("survey", "0013_fits_to_own_surveys"),
    ]

    operations = [
        migrations.AddField(
            model_name="objectdraws",
            name="said",
            field=models.JSONField(
                default=list, help_text="[workshop, period, logarithms by class]: what its restorations say of habits"
            ),
        ),
    ]
